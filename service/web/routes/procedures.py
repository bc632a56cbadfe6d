"""Procedures over HTTP: those that are shipped, with their stages, and another one for a batch that runs."""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Connection

from service.bench.procedure import SHIPPED, load_procedure, own_procedure, shipped
from service.bench.state_view import BenchState, StageName, state_view
from service.log import store
from service.log.course.moving import change_procedure
from service.log.fields import Text
from service.web.once import OnceDep
from service.web.problems import responses
from service.web.routes.batches import BatchId
from service.web.routes.bench import WrittenAt
from service.web.routes.plan import asked
from stripread.errors import CallError
from stripread.words import _, say

router = APIRouter(prefix="/api", tags=["bench"], responses=responses(401, 403, 421, 422, 429, 500, 503))


class ProcedureOut(BaseModel):
    """A shipped procedure: its name for commands, its title for people, its version, its stages in order."""

    name: str = Field(examples=["chloride_zinc"])
    title: str
    version: int
    stages: list[StageName]


class AnotherProcedure(BaseModel):
    """Another procedure for a batch: a shipped one by name, or the text of a file of one's own."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [{"procedure": "chloride_iron", "to": "reduce", "reason": "no zinc left", "who": "A."}]
        }
    )
    procedure: Annotated[Text, Field(max_length=100)] | None = None
    text: Annotated[str, Field(max_length=20000)] | None = Field(None, description="The TOML file itself, instead.")
    to: Annotated[Text, Field(max_length=100)] | None = Field(
        None, description="The stage of it to go on in; left out, the one of the same name, if there is one."
    )
    reason: Annotated[Text, Field(min_length=1, max_length=1000)]
    who: Annotated[Text, Field(max_length=100)] | None = None
    written_at: WrittenAt = None


@router.get("/procedures")
def list_procedures() -> list[ProcedureOut]:
    """The shipped procedures, with their stages."""
    found = [(name, load_procedure(name)) for name in SHIPPED]
    return [
        ProcedureOut(
            name=name,
            title=say(one.name),
            version=one.version,
            stages=[StageName(id=stage.id, title=say(stage.title)) for stage in one.stages],
        )
        for name, one in found
    ]


@router.post("/batches/{batch}/procedure", response_model=BenchState, responses=responses(400, 404, 409, 413, 507))
def another_procedure(batch: BatchId, body: AnotherProcedure, once: OnceDep) -> Response:
    """Go on by another procedure; its note is withdrawn like any other to undo it."""

    def act(c: Connection) -> BenchState:
        store.known_batch(c, batch)

        def change() -> BenchState:
            if (body.procedure is None) == (body.text is None):
                raise CallError(_("give either the name of a shipped procedure or the text of a file"))
            found = own_procedure(body.text) if body.text is not None else load_procedure(shipped(body.procedure or ""))
            at, keyed = body.written_at, once.key is not None
            _note, state = change_procedure(c, batch, found, body.to, body.reason, body.who, written_at=at, keyed=keyed)
            return state_view(state)

        return asked(change)

    return once.answer(body, BenchState, act)
