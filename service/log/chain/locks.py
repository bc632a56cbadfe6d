"""Who may write what at once in PostgreSQL: one writer of a batch, of the stock vessel, of the chain; in this order.

Writers look and work out beside each other, each with its batch held, and come one after the other only to add rows:
from a transaction's first row that the chain ties to its end. So the chain has one order, and the numbers of entries
and notes are given in it. SQLite has one writer anyway, from a transaction's beginning.
"""

from __future__ import annotations

from sqlalchemy import Connection, text

# Keys of PostgreSQL's advisory locks. That of the chain is as older versions have it: they may write beside this one.
_CHAIN, _VESSEL, _BATCHES = 7_240_631_905, 7_240_631_906, 724_063_190
_HELD = "chain held in"


def one_writer(c: Connection) -> None:
    """Wait until nobody else adds to the chain, and keep them out until this transaction ends."""
    if c.dialect.name != "postgresql":
        return
    transaction = c.get_transaction()
    if transaction is None or c.info.get(_HELD) is not transaction:
        c.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _CHAIN})
        c.info[_HELD] = transaction


def one_of_batch(c: Connection, batch: int) -> None:
    """Wait until nobody else writes to this batch, and keep them out; before anything of it is looked at."""
    if c.dialect.name == "postgresql":
        c.execute(text("SELECT pg_advisory_xact_lock(:lock, :batch)"), {"lock": _BATCHES, "batch": batch})


def one_of_vessel(c: Connection) -> None:
    """Wait until nobody else writes of the stock vessel, which all batches share, and keep them out."""
    if c.dialect.name == "postgresql":
        c.execute(text("SELECT pg_advisory_xact_lock(:lock)"), {"lock": _VESSEL})
