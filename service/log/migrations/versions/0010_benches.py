"""Benches beside each other: whose a batch or a paired phone is. An older log has none, and stays one bench's."""

import sqlalchemy as sa
from alembic import op

revision = "0010"
down_revision = "0009"


def upgrade() -> None:
    """Make the tables, and the place in which a paired phone says whose it is."""
    op.create_table(
        "benches",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("name", sa.String(60), nullable=False),
        sa.Column("made_at", sa.String(32), nullable=False),
        sa.Column("revoked_at", sa.String(32)),
        sa.PrimaryKeyConstraint("id", name="pk_benches"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "batch_benches",
        sa.Column("batch_id", sa.Integer, nullable=False, autoincrement=False),
        sa.Column("bench_id", sa.Integer, nullable=False),
        sa.PrimaryKeyConstraint("batch_id", name="pk_batch_benches"),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name="fk_batch_benches_batch_id"),
        sa.ForeignKeyConstraint(["bench_id"], ["benches.id"], name="fk_batch_benches_bench_id"),
    )
    op.create_index("ix_batch_benches_bench", "batch_benches", ["bench_id", "batch_id"])
    op.create_table(
        "bench_profiles",
        sa.Column("bench_id", sa.Integer, nullable=False, autoincrement=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.PrimaryKeyConstraint("bench_id", "name", name="pk_bench_profiles"),
        sa.ForeignKeyConstraint(["bench_id"], ["benches.id"], name="fk_bench_profiles_bench_id"),
    )
    op.create_table(
        "bench_secrets",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("bench_id", sa.Integer, nullable=False),
        sa.Column("sort", sa.String(8), nullable=False),
        sa.Column("secret_sha256", sa.String(64), nullable=False),
        sa.Column("made_at", sa.String(32), nullable=False),
        sa.Column("ends_at", sa.String(32)),
        sa.Column("joins_left", sa.Integer),
        sa.Column("revoked_at", sa.String(32)),
        sa.PrimaryKeyConstraint("id", name="pk_bench_secrets"),
        sa.UniqueConstraint("secret_sha256", name="uq_bench_secrets_secret_sha256"),
        sa.ForeignKeyConstraint(["bench_id"], ["benches.id"], name="fk_bench_secrets_bench_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_bench_secrets_bench_id", "bench_secrets", ["bench_id"])
    # in words: a column and its constraint in one are more than the migrations' own way can do in SQLite
    column = "bench_id INTEGER CONSTRAINT fk_sessions_bench_id REFERENCES benches (id)"
    op.execute(f"ALTER TABLE sessions ADD COLUMN {column}")
