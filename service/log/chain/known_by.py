"""By what the labels of a log know it again: a mark of its first link, which every copy of it has."""

from __future__ import annotations

from sqlalchemy import Connection, inspect, select

from service.bench.ledger.marks import mark_of_log
from service.log.models import chain


def log_mark(c: Connection) -> str:
    """What tells this log's labels from another's: empty for a log without rows, or of the form before the chain."""
    if not inspect(c).has_table("chain"):
        return ""
    first = c.execute(select(chain.c.link).where(chain.c.n == 1)).scalar()
    return "" if first is None else mark_of_log(first)
