"""The words of batches, notes and readings, so that a search does not grow with the log; filled for old rows."""

import sqlalchemy as sa
from alembic import op

revision = "0011"
down_revision = "0010"

_BYTES = sa.String(32).with_variant(sa.String(32, collation="C"), "postgresql")


def upgrade() -> None:
    """Make the tables and fill them."""
    op.create_table(
        "search_rows",
        sa.Column("word", sa.BigInteger, nullable=False, autoincrement=False),
        sa.Column("source", sa.Integer, nullable=False, autoincrement=False),
        sa.Column("at", _BYTES, nullable=False),
        sa.Column("number", sa.Integer, nullable=False, autoincrement=False),
        sa.PrimaryKeyConstraint("word", "source", "at", "number", name="pk_search_rows"),
        sqlite_with_rowid=False,
    )
    op.create_table(
        "search_ends",
        sa.Column("source", sa.Integer, nullable=False, autoincrement=False),
        sa.Column("ending", _BYTES, nullable=False),
        sa.Column("word", sa.BigInteger, nullable=False, autoincrement=False),
        sa.PrimaryKeyConstraint("source", "ending", "word", name="pk_search_ends"),
        sqlite_with_rowid=False,
    )
    from service.log.search_words.recount import recount_words  # noqa: PLC0415 - every opening of a log looks at this file

    recount_words(op.get_bind())
