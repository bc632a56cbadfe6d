"""Answers to what was posted with an idempotency key, so that a repeated post gets the first one."""

import sqlalchemy as sa
from alembic import op

from service.log.chain.guards import set_guards

revision = "0004"
down_revision = "0003"


def upgrade() -> None:
    """Make the table and its guards."""
    op.create_table(
        "answers",
        sa.Column("key", sa.String(200), nullable=False),
        sa.Column("fingerprint", sa.String(64), nullable=False),
        sa.Column("status", sa.Integer, nullable=False),
        sa.Column("answer", sa.Text, nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_answers"),
    )
    set_guards(op.get_bind())
