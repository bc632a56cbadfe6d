"""Many rows added in one go, by the quickest way that the database has."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from sqlalchemy import Connection, Table


def write_many(c: Connection, table: Table, rows: Sequence[tuple[Any, ...]], names: Sequence[str] = ()) -> None:
    """Add rows of the columns ``names``, all of the table's where none are named, in the connection's transaction."""
    if not rows:
        return
    columns = ", ".join(f'"{name}"' for name in names or table.c.keys())
    if c.dialect.name == "postgresql":
        cursor = c.connection.cursor()
        with cursor.copy(f"COPY {table.name} ({columns}) FROM STDIN") as copy:
            for row in rows:
                copy.write_row(row)
        cursor.close()
    else:
        places = ", ".join("?" * len(rows[0]))
        c.exec_driver_sql(f"INSERT INTO {table.name} ({columns}) VALUES ({places})", list(rows))
