"""The first form of the log."""

import sqlalchemy as sa
from alembic import op

revision = "0001"
down_revision = None


def upgrade() -> None:
    """Make the tables, and the guards that keep entries as they were written."""
    op.create_table(
        "batches",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("opened_at", sa.String(32), nullable=False),
        sa.Column("closed_at", sa.String(32)),
        sa.Column("details", sa.Text, nullable=False, server_default="{}"),
        sa.PrimaryKeyConstraint("id", name="pk_batches"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "events",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("batch_id", sa.Integer, nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.Column("what", sa.String(40), nullable=False),
        sa.Column("detail", sa.Text, nullable=False, server_default="{}"),
        sa.PrimaryKeyConstraint("id", name="pk_events"),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name="fk_events_batch_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_events_batch_id", "events", ["batch_id"])
    op.create_table(
        "photos",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("size", sa.Integer, nullable=False),
        sa.Column("first_at", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_photos"),
    )
    op.create_table(
        "profiles",
        sa.Column("sha256", sa.String(64), nullable=False),
        sa.Column("text", sa.Text, nullable=False),
        sa.Column("first_at", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("sha256", name="pk_profiles"),
    )
    op.create_table(
        "entries",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("batch_id", sa.Integer, nullable=False),
        sa.Column("kind", sa.String(8), nullable=False),
        sa.Column("origin", sa.String(12), nullable=False),
        sa.Column("received_at", sa.String(32), nullable=False),
        sa.Column("snapped_at", sa.String(40)),
        sa.Column("wash", sa.Integer),
        sa.Column("note", sa.Text, nullable=False, server_default=""),
        sa.Column("photo_sha256", sa.String(64), nullable=False),
        sa.Column("profile_sha256", sa.String(64)),
        sa.Column("software", sa.String(60), nullable=False),
        sa.Column("status", sa.String(10), nullable=False),
        sa.Column("value", sa.Float),
        sa.Column("low", sa.Float),
        sa.Column("high", sa.Float),
        sa.Column("reading", sa.Text, nullable=False),
        sa.Column("extras", sa.Text, nullable=False, server_default="{}"),
        sa.Column("corrects_id", sa.Integer),
        sa.Column("made_by", sa.String(100)),
        sa.Column("why", sa.Text),
        sa.PrimaryKeyConstraint("id", name="pk_entries"),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name="fk_entries_batch_id"),
        sa.ForeignKeyConstraint(["photo_sha256"], ["photos.sha256"], name="fk_entries_photo_sha256"),
        sa.ForeignKeyConstraint(["profile_sha256"], ["profiles.sha256"], name="fk_entries_profile_sha256"),
        sa.ForeignKeyConstraint(["corrects_id"], ["entries.id"], name="fk_entries_corrects_id"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_entries_batch", "entries", ["batch_id", "id"])
    op.create_index("ix_entries_again", "entries", ["batch_id", "photo_sha256", "received_at"])
    op.create_index("ix_entries_photo_sha256", "entries", ["photo_sha256"])
    op.create_index("ix_entries_corrects_id", "entries", ["corrects_id"])
    op.create_table(
        "keys",
        sa.Column("key", sa.String(200), nullable=False),
        sa.Column("fingerprint", sa.String(64), nullable=False),
        sa.Column("entry_id", sa.Integer, nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("key", name="pk_keys"),
        sa.ForeignKeyConstraint(["entry_id"], ["entries.id"], name="fk_keys_entry_id"),
    )
    op.create_table(
        "sessions",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("secret_sha256", sa.String(64), nullable=False),
        sa.Column("device", sa.String(200), nullable=False),
        sa.Column("paired_at", sa.String(32), nullable=False),
        sa.Column("revoked_at", sa.String(32)),
        sa.PrimaryKeyConstraint("id", name="pk_sessions"),
        sa.UniqueConstraint("secret_sha256", name="uq_sessions_secret_sha256"),
        sqlite_autoincrement=True,
    )
    _guard("entries")
    _guard("events")


def _guard(table: str) -> None:
    """Let the database refuse to change or delete a row: the log only grows."""
    if op.get_bind().dialect.name == "sqlite":
        for verb in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER {table}_no_{verb.lower()} BEFORE {verb} ON {table} "
                f"BEGIN SELECT RAISE(ABORT, '{table} are never changed or deleted'); END"
            )
    elif op.get_bind().dialect.name == "postgresql":
        op.execute(
            f"CREATE FUNCTION {table}_stay() RETURNS trigger LANGUAGE plpgsql AS "
            f"$$ BEGIN RAISE EXCEPTION '{table} are never changed or deleted'; END $$"
        )
        op.execute(
            f"CREATE TRIGGER {table}_stay BEFORE UPDATE OR DELETE ON {table} "
            f"FOR EACH ROW EXECUTE FUNCTION {table}_stay()"
        )
