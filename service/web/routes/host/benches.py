"""Benches over HTTP: named, shut, their tokens and links, the profiles and batches that are handed to them.

For the bench computer itself. A token or a link is told once, in the answer that made it; after that there is only its
hash.
"""

from __future__ import annotations

from typing import Annotated

from fastapi import APIRouter, Path, Response
from pydantic import BaseModel, ConfigDict, Field
from sqlalchemy import Connection

from service.errors import WrongStatement
from service.log import store
from service.log.benches import rows
from service.log.benches import secrets as bench_secrets
from service.log.fields import MAX_ID, Text
from service.web.components import Service, ServiceDep
from service.web.problems import responses
from service.web.routes.batches import BatchId
from service.web.routes.host.join import LOCAL
from stripread.words import _

router = APIRouter(
    prefix="/api/benches", tags=["benches"], dependencies=LOCAL, responses=responses(401, 403, 421, 422, 429, 500, 503)
)
BenchId = Annotated[int, Path(ge=1, le=MAX_ID, examples=[1])]
Names = Annotated[list[Annotated[Text, Field(min_length=1, max_length=200)]], Field(max_length=200)]
_POSTED = responses(400, 404, 413, 507)


class TokenOut(BaseModel):
    """A token that is in force: its number and since when, never the token itself."""

    id: int
    made_at: str


class BenchOut(BaseModel):
    """A bench."""

    id: int
    name: str
    made_at: str
    revoked_at: str | None
    batches: int
    phones: int = Field(description="Phones that joined by its links and are not shut out.")
    profiles: list[str] = Field(description="Names of the profiles that it may read with.")
    tokens: list[TokenOut]


class NewBench(BaseModel):
    """A bench to be named. Without `profiles` it gets all that there are now; later ones are handed out one by one."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"name": "north window"}]})
    name: Annotated[Text, Field(max_length=200)]
    profiles: Names | None = None


class BenchChange(BaseModel):
    """What changes of a bench."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"profiles": ["four-pad 0-14"]}]})
    name: Annotated[Text, Field(max_length=200)] | None = None
    profiles: Names | None = Field(None, description="All that it may read with from now on.")


class NewToken(BaseModel):
    """A new token: shown this once."""

    token: str


class NewLink(BaseModel):
    """A new link by which phones join the bench: shown this once."""

    link: str
    qr_svg: str
    joins_left: int
    hours: float


@router.get("")
def list_benches(service: ServiceDep) -> list[BenchOut]:
    """Every bench, also those that were revoked."""
    with service.database.read() as c:
        return [_out(service, c, bench) for bench in rows.all_benches(c)]


@router.post("", status_code=201, responses=_POSTED)
def add_bench(body: NewBench, service: ServiceDep) -> BenchOut:
    """Name a bench. It sees its own batches alone; the bench computer goes on seeing all."""
    known = [strip.name for strip in service.profiles.strips()]
    handed = _known(body.profiles, known) if body.profiles is not None else known
    with service.database.write(alone=True) as c:
        return _out(service, c, rows.add_bench(c, body.name, handed))


@router.patch("/{bench}", responses=_POSTED)
def change_bench(bench: BenchId, body: BenchChange, service: ServiceDep) -> BenchOut:
    """Call it otherwise, or hand it other profiles."""
    known = [strip.name for strip in service.profiles.strips()]
    with service.database.write(alone=True) as c:
        if body.profiles is not None:
            rows.hand_out(c, bench, _known(body.profiles, [*known, *rows.handed_to(c, bench)]))
        if body.name is not None:
            rows.rename_bench(c, bench, body.name)
        return _out(service, c, rows.known_bench(c, bench))


@router.delete("/{bench}", status_code=204, responses=responses(404, 507))
def revoke_bench(bench: BenchId, service: ServiceDep) -> Response:
    """Shut a bench at once: its phones, links and tokens end, here and on other services of this log. Batches stay."""
    with service.database.write(alone=True) as c:
        rows.revoke_bench(c, bench)
    return Response(status_code=204)


@router.post("/{bench}/tokens", status_code=201, responses=_POSTED)
def add_token(bench: BenchId, service: ServiceDep) -> NewToken:
    """A token for a program, sent as `Authorization: Bearer …`: it acts as the bench. Shown this once."""
    with service.database.write(alone=True) as c:
        return NewToken(token=bench_secrets.add_token(c, bench))


@router.delete("/{bench}/tokens/{token}", status_code=204, responses=responses(404, 507))
def revoke_token(bench: BenchId, token: Annotated[int, Path(ge=1, le=MAX_ID)], service: ServiceDep) -> Response:
    """End one token at once."""
    with service.database.write(alone=True) as c:
        bench_secrets.revoke_one(c, bench, token)
    return Response(status_code=204)


@router.post("/{bench}/link", status_code=201, responses=_POSTED)
def new_link(bench: BenchId, service: ServiceDep) -> NewLink:
    """A link, also as a QR code, by which phones join this bench; its earlier link ends. Shown this once."""
    joins, seconds = service.settings.link_joins, service.settings.link_age
    with service.database.write(alone=True) as c:
        token = bench_secrets.add_link(c, bench, joins=joins, seconds=seconds)
    link = service.pairing.link(token)
    return NewLink(link=link, qr_svg=service.pairing.qr_svg(link).decode(), joins_left=joins, hours=seconds / 3600)


@router.put("/{bench}/batches/{batch}", status_code=204, responses=_POSTED)
def give_batch(bench: BenchId, batch: BatchId, service: ServiceDep) -> Response:
    """Make a batch this bench's from now on; its history says so."""
    with service.database.write() as c:
        rows.working_bench(c, bench)
        store.known_batch(c, batch)
        store.give_batch(c, batch, bench)
    return Response(status_code=204)


@router.delete("/{bench}/batches/{batch}", status_code=204, responses=responses(404, 507))
def take_batch(bench: BenchId, batch: BatchId, service: ServiceDep) -> Response:
    """Take a batch back from this bench: it is the keeper's from now on."""
    with service.database.write() as c:
        rows.known_bench(c, bench)
        store.known_batch(c, batch)
        store.take_batch(c, batch, bench)
    return Response(status_code=204)


def _known(names: list[str], known: list[str]) -> list[str]:
    unknown = [name for name in names if name not in known]
    if unknown:
        raise WrongStatement(
            "no_such_profile",
            _(
                "There is no profile '{name}' here. Choose one of these: {known}.",
                name=unknown[0],
                known=", ".join(dict.fromkeys(known)) or _("none"),
            ),
        )
    return names


def _out(service: Service, c: Connection, bench: rows.Bench) -> BenchOut:
    every = bench_secrets.secrets_of(c, bench.id)
    tokens = [one for one in every if one.sort == "token" and bench_secrets.working(one)]
    return BenchOut(
        phones=service.pairing.count_of(c, bench.id),
        profiles=list(bench.profiles),
        tokens=[TokenOut(id=one.id, made_at=one.made_at) for one in tokens],
        **{name: getattr(bench, name) for name in ("id", "name", "made_at", "revoked_at", "batches")},
    )
