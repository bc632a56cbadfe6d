"""What is posted with an `Idempotency-Key` happens once: its answer is kept with it, and comes back on a repeat.

The IETF's draft *Idempotency-Key*. The key is written in the transaction of what it did: either both are in the log, or
neither. A refusal keeps nothing, so that what was refused may be mended and sent again with its key.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Depends, Header, Request, Response
from pydantic import BaseModel, TypeAdapter
from sqlalchemy import Connection, insert, select
from sqlalchemy.exc import IntegrityError

from service.errors import WrongStatement
from service.log import store
from service.log.benches.asking import own_key
from service.log.chain.links import append
from service.log.chain.locks import one_writer
from service.log.models import answers, now
from service.web.components import Service, ServiceDep

Key = Annotated[str | None, Header(max_length=200, min_length=1, examples=["8e03978e-40d5-43dd-bc93-6894a57f9324"])]


@dataclass(frozen=True)
class Once:
    """One request that may be repeated: its service, its key if it has one, and what it is asked of."""

    service: Service
    key: str | None
    asked: str  # method and path

    def answer(
        self,
        body: BaseModel,
        form: Any,  # noqa: ANN401 - a type, or what FastAPI takes for one
        act: Callable[[Connection], Any],
        status: int = 200,
    ) -> Response:
        """Do it in one transaction and answer it in this form; what was done before gets its first answer.

        Raises
        ------
        WrongStatement
            When the key was used for something else.
        """
        said = body.model_dump(mode="json", exclude_unset=True)  # a field that a later version adds changes no old one
        fingerprint = hashlib.sha256(json.dumps([self.asked, said]).encode()).hexdigest()
        adapter: TypeAdapter[Any] = TypeAdapter(form)
        try:
            with self.service.database.write() as c:
                earlier = self._earlier(c, fingerprint)
                if earlier is not None:
                    return earlier
                content = adapter.dump_json(adapter.validate_python(act(c))).decode()
                if self.key is not None:
                    kept = {"key": own_key(self.key), "fingerprint": fingerprint}
                    _keep(c, {**kept, "status": status, "answer": content})
        except IntegrityError:
            with self.service.database.read() as c:  # another process used the key between our look and our commit
                earlier = self._earlier(c, fingerprint)
            if earlier is None:
                raise
            return earlier
        return Response(content, status, media_type="application/json")

    def _earlier(self, c: Connection, fingerprint: str) -> Response | None:
        if self.key is None:
            return None
        row = c.execute(select(answers).where(answers.c.key == own_key(self.key))).one_or_none()
        if row is None and store.key_of(c, self.key) is None:
            return None
        if row is None or row.fingerprint != fingerprint:
            raise WrongStatement("key_reused", "This Idempotency-Key was used for something else. Use a new one.")
        headers = {"Idempotency-Replayed": "true"}
        return Response(row.answer, row.status, headers, media_type="application/json")


def _keep(c: Connection, answered: store.Row) -> None:
    one_writer(c)
    values = {**answered, "at": now()}
    c.execute(insert(answers), values)
    append(c, [("answers", values)])


async def _of_request(request: Request, service: ServiceDep, idempotency_key: Key = None) -> Once:
    return Once(service, idempotency_key, f"{request.method} {request.url.path}")


OnceDep = Annotated[Once, Depends(_of_request)]
