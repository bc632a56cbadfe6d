"""Silver in the stock vessel: each batch's part and their sum, filled for the notes there are."""

import sqlalchemy as sa
from alembic import op

revision = "0009"
down_revision = "0008"


def upgrade() -> None:
    """Make the tables and fill them."""
    op.create_table(
        "stock_parts",
        sa.Column("batch_id", sa.Integer, nullable=False, autoincrement=False),
        sa.Column("silver", sa.LargeBinary, nullable=False),
        sa.PrimaryKeyConstraint("batch_id", name="pk_stock_parts"),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name="fk_stock_parts_batch_id"),
    )
    op.create_table(
        "stock_total",
        sa.Column("id", sa.Integer, nullable=False, autoincrement=False),
        sa.Column("silver", sa.LargeBinary, nullable=False),
        sa.Column("batches", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_stock_total"),
    )
    from service.log.noted.stock_silver import recount_stock  # noqa: PLC0415 - every opening of a log looks at this file

    recount_stock(op.get_bind())
