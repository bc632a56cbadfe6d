"""The chain over all rows, what an older log held taken up into it, and guards against every way to change a row."""

import secrets
from collections.abc import Iterator

import sqlalchemy as sa
from alembic import op

from service.log.chain.guards import set_guards
from service.log.chain.links import begin
from service.log.models import now

revision = "0002"
down_revision = "0001"

_TABLES = (("batches", "id"), ("profiles", "sha256"), ("photos", "sha256"), ("events", "id"), ("entries", "id"))
_KEYS = ("keys", "key")


def upgrade() -> None:
    """Make the chain, take up the rows that are there, set the guards."""
    op.create_table(
        "chain",
        sa.Column("n", sa.Integer, nullable=False, autoincrement=False),
        sa.Column("what", sa.String(10), nullable=False),
        sa.Column("row_key", sa.String(200), nullable=False),
        sa.Column("content", sa.String(64), nullable=False),
        sa.Column("link", sa.String(64), nullable=False),
        sa.Column("detail", sa.Text, nullable=False, server_default=""),
        sa.PrimaryKeyConstraint("n", name="pk_chain"),
    )
    c = op.get_bind()
    rows = list(_rows(c))
    # A random name, so that the heads of two logs differ even where their rows are the same.
    begin(c, {"at": now(), "log": secrets.token_hex(16), "taken_up": len(rows)}, rows)
    set_guards(c)


def _rows(c: sa.Connection) -> Iterator[tuple[str, dict[str, object]]]:
    for table, key in (*_TABLES, _KEYS):
        for row in c.execute(sa.text(f"SELECT * FROM {table} ORDER BY {key}")).mappings():
            yield table, dict(row)
