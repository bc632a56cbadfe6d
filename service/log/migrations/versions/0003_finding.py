"""What finding again needs: indexes by time, the stage of each batch, and the phones that took the photos."""

import sqlalchemy as sa
from alembic import op

revision = "0003"
down_revision = "0002"


def upgrade() -> None:
    """Make tables and indexes; write down the stage of each batch that is there. Photos are looked at later."""
    op.create_index("ix_batches_opened_at", "batches", ["opened_at", "id"])
    op.create_index("ix_events_at", "events", ["at", "id"])
    op.create_index("ix_entries_received_at", "entries", ["received_at", "id"])
    op.create_table(
        "phones",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("make", sa.String(64), nullable=False),
        sa.Column("model", sa.String(64), nullable=False),
        sa.Column("name", sa.String(60)),
        sa.Column("named_at", sa.String(32)),
        sa.PrimaryKeyConstraint("id", name="pk_phones"),
        sa.UniqueConstraint("make", "model", name="uq_phones_make"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "photo_phones",
        sa.Column("photo_sha256", sa.String(64), nullable=False),
        sa.Column("phone_id", sa.Integer),
        sa.PrimaryKeyConstraint("photo_sha256", name="pk_photo_phones"),
        sa.ForeignKeyConstraint(["photo_sha256"], ["photos.sha256"], name="fk_photo_phones_photo_sha256"),
        sa.ForeignKeyConstraint(["phone_id"], ["phones.id"], name="fk_photo_phones_phone_id"),
    )
    op.create_index("ix_photo_phones_phone_id", "photo_phones", ["phone_id"])
    op.create_table(
        "batch_stages",
        sa.Column("batch_id", sa.Integer, nullable=False),
        sa.Column("stage", sa.String(100), nullable=False),
        sa.PrimaryKeyConstraint("batch_id", name="pk_batch_stages"),
        sa.ForeignKeyConstraint(["batch_id"], ["batches.id"], name="fk_batch_stages_batch_id"),
    )
    op.create_index("ix_batch_stages_stage", "batch_stages", ["stage"])
    _stages(op.get_bind())


def _stages(c: sa.Connection) -> None:
    """The stage of each batch; of one whose notes are too damaged to tell, none."""
    from service.log.notes import keep_stage_now  # noqa: PLC0415 - every opening of a log looks at this file

    for number in c.execute(sa.text("SELECT id FROM batches ORDER BY id")).scalars().all():
        keep_stage_now(c, number)
