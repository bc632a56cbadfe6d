"""What went from one batch to another, so that a batch's ledger asks no other batch; no older log has such notes."""

import sqlalchemy as sa
from alembic import op

revision = "0008"
down_revision = "0007"


def upgrade() -> None:
    """Make the table and its indexes."""
    op.create_table(
        "lot_links",
        sa.Column("event_id", sa.Integer, nullable=False, autoincrement=False),
        sa.Column("writer", sa.Integer, nullable=False),
        sa.Column("from_batch", sa.Integer, nullable=False),
        sa.Column("into_batch", sa.Integer, nullable=False),
        sa.Column("low", sa.Float, nullable=False),
        sa.Column("value", sa.Float, nullable=False),
        sa.Column("high", sa.Float, nullable=False),
        sa.PrimaryKeyConstraint("event_id", name="pk_lot_links"),
        sa.ForeignKeyConstraint(["event_id"], ["events.id"], name="fk_lot_links_event_id"),
        *(
            sa.ForeignKeyConstraint([column], ["batches.id"], name=f"fk_lot_links_{column}")
            for column in ("writer", "from_batch", "into_batch")
        ),
    )
    for column in ("writer", "from_batch", "into_batch"):
        op.create_index(f"ix_lot_links_{column}", "lot_links", [column])
