"""Sums that keep a large log quick: entries by batch, what the stock vessel holds; filled for the rows there are."""

import sqlalchemy as sa
from alembic import op

revision = "0007"
down_revision = "0006"


def upgrade() -> None:
    """Make the tables and the index that they are filled by, and fill them."""
    op.create_index("ix_events_what", "events", ["what", "id"])
    op.create_table(
        "batch_sums",
        sa.Column("batch_id", sa.Integer, nullable=False),
        sa.Column("entries", sa.Integer, nullable=False),
        sa.Column("newest", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("batch_id", name="pk_batch_sums"),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name="fk_batch_sums_batch_id"),
    )
    op.create_table(
        "vessel_sums",
        sa.Column("upto", sa.Integer, nullable=False, autoincrement=False),
        sa.Column("held", sa.Text, nullable=False),
        sa.PrimaryKeyConstraint("upto", name="pk_vessel_sums"),
        sa.ForeignKeyConstraint(["upto"], ["events.id"], name="fk_vessel_sums_upto"),
    )
    from service.log.aside.sums import count_all  # noqa: PLC0415 - every opening of a log looks at this file
    from service.log.noted.vessel import keep_due  # noqa: PLC0415

    count_all(op.get_bind())
    keep_due(op.get_bind())
