"""Who asks now, a bench or the keeper, and the one filter by which a bench finds its own batches and no others.

The door (``service.web.guard``) says who asks, once for each request; whatever answers takes it along in its context,
threads and tasks too. The keeper is who asks where nobody said anything: commands on the bench computer, what the
service does by itself (a watched folder, a look at earlier photos), and everybody in a log without benches.

A bare thread, or an executor's, takes no context along and so acts as the keeper: whatever a bench can ask for goes
into threads by ``in_thread`` alone. ``tests/contract/test_threads.py`` has a list of the others, each looked at.
What is kept over all batches (the stock vessel's sums, what went from batch to batch) is added up from all notes,
whoever writes one: ``noted.rows`` does not filter, and is for those who have looked whose the batch is.
"""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any

from sqlalchemy import ColumnElement, Connection, Result, Select, bindparam, exists, select

from service.log.models import batch_benches

_asking: ContextVar[int | None] = ContextVar("asking_bench", default=None)
_BENCH: ColumnElement[int] = bindparam("asking_bench")


def asks() -> int | None:
    """The number of the bench that asks; None for the keeper."""
    return _asking.get()


@contextmanager
def asking(bench: int | None) -> Iterator[None]:
    """Let this bench ask, or the keeper (None)."""
    before = _asking.set(bench)
    try:
        yield
    finally:
        _asking.reset(before)


def _owned(batch: ColumnElement[int], bench: ColumnElement[int] | int) -> ColumnElement[bool]:
    own = batch_benches.alias("own")  # so that a query that names the table itself is not meant
    return exists().where(own.c.batch_id == batch, own.c.bench_id == bench)


def only_own(query: Select[Any], batch: ColumnElement[int]) -> Select[Any]:
    """The query's rows whose ``batch`` is the asker's: of a bench its own, of the keeper all."""
    bench = asks()
    return query if bench is None else query.where(_owned(batch, bench))


def own_batches(query: Select[Any], batch: ColumnElement[int], after: int | None, limit: int | None) -> Select[Any]:
    """A list of batches, the asker's alone, newest first, ``limit`` of those numbered below ``after``.

    A bench's are walked through by their own index, so that it costs the same however many others there are.
    """
    bench, number = asks(), batch
    if bench is not None:
        own = batch_benches.alias("own")
        number = own.c.batch_id
        query = query.join(own, number == batch).where(own.c.bench_id == bench)
    query = query if after is None else query.where(number < after)
    return query.order_by(number.desc()).limit(limit)


def of_nobody_else(query: Select[Any], batch: ColumnElement[int]) -> Select[Any]:
    """As ``only_own``; of the keeper those that were handed to no bench."""
    bench = asks()
    if bench is None:
        own = batch_benches.alias("own")
        return query.where(~exists().where(own.c.batch_id == batch))
    return query.where(_owned(batch, bench))


class Asked:
    """A query that is asked often, built once for the keeper and once for a bench.

    Building a statement costs several times what running it does.
    """

    def __init__(self, query: Select[Any], batch: ColumnElement[int]) -> None:
        self._all = query
        self._own = query.where(_owned(batch, _BENCH))

    def run(self, c: Connection, **values: object) -> Result[Any]:
        """Its rows, of the asker's batches alone."""
        bench = asks()
        if bench is None:
            return c.execute(self._all, values)
        return c.execute(self._own, {**values, "asking_bench": bench})


def own_numbers(c: Connection, most: int) -> list[int] | None:
    """The newest ``most`` batches of the bench that asks; None for the keeper, who is not to be told by numbers."""
    if asks() is None:
        return None
    mine = select(batch_benches.c.batch_id).where(batch_benches.c.bench_id == asks())
    return list(c.execute(mine.order_by(batch_benches.c.batch_id.desc()).limit(most)).scalars())


def own_among(c: Connection, numbers: Collection[int]) -> frozenset[int]:
    """Those of these batches that are the asker's: of the keeper all."""
    if asks() is None or not numbers:
        return frozenset(numbers)
    mine = select(batch_benches.c.batch_id).where(batch_benches.c.bench_id == asks())
    return frozenset(c.execute(mine.where(batch_benches.c.batch_id.in_(sorted(numbers)))).scalars())


def own_key(key: str) -> str:
    """An idempotency key as the log keeps it: no bench meets another's answer by its key."""
    bench = asks()
    return key if bench is None else f"bench {bench}: {hashlib.sha256(key.encode()).hexdigest()}"
