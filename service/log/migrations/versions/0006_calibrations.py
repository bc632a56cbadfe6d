"""Calibrations in the making, profiles by name and version, and control strips read with them."""

import sqlalchemy as sa
from alembic import op

revision = "0006"
down_revision = "0005"


def upgrade() -> None:
    """Make the tables."""
    op.create_table(
        "calibrations",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("kind", sa.Text, nullable=False),
        sa.Column("chart", sa.Text, nullable=False, server_default="[]"),
        sa.Column("made_at", sa.String(32), nullable=False),
        sa.Column("closed_at", sa.String(32)),
        sa.PrimaryKeyConstraint("id", name="pk_calibrations"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "calibration_photos",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("calibration_id", sa.Integer, nullable=False),
        sa.Column("photo_sha256", sa.String(64), nullable=False),
        sa.Column("file", sa.String(200), nullable=False),
        sa.Column("liquid", sa.String(60), nullable=False),
        sa.Column("temperature_c", sa.Float),
        sa.Column("ph", sa.Float, nullable=False),
        sa.Column("ph_sd", sa.Float, nullable=False),
        sa.Column("light", sa.String(60), nullable=False, server_default=""),
        sa.Column("seen", sa.Text, nullable=False, server_default="{}"),
        sa.Column("added_at", sa.String(32), nullable=False),
        sa.Column("removed_at", sa.String(32)),
        sa.PrimaryKeyConstraint("id", name="pk_calibration_photos"),
        sa.ForeignKeyConstraint(["calibration_id"], ["calibrations.id"], name="fk_calibration_photos_calibration_id"),
        sa.ForeignKeyConstraint(["photo_sha256"], ["photos.sha256"], name="fk_calibration_photos_photo_sha256"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_calibration_photos_calibration_id", "calibration_photos", ["calibration_id"])
    op.create_table(
        "calibration_runs",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("calibration_id", sa.Integer, nullable=False),
        sa.Column("begun_at", sa.String(32), nullable=False),
        sa.Column("ended_at", sa.String(32)),
        sa.Column("state", sa.String(12), nullable=False),
        sa.Column("photos", sa.Text, nullable=False),
        sa.Column("found", sa.Text, nullable=False, server_default="{}"),
        sa.Column("profile_sha256", sa.String(64)),
        sa.PrimaryKeyConstraint("id", name="pk_calibration_runs"),
        sa.ForeignKeyConstraint(["calibration_id"], ["calibrations.id"], name="fk_calibration_runs_calibration_id"),
        sa.ForeignKeyConstraint(["profile_sha256"], ["profiles.sha256"], name="fk_calibration_runs_profile_sha256"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_calibration_runs_calibration_id", "calibration_runs", ["calibration_id"])
    op.create_table(
        "profile_versions",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("name", sa.String(200), nullable=False),
        sa.Column("version", sa.Integer, nullable=False),
        sa.Column("profile_sha256", sa.String(64), nullable=False),
        sa.Column("origin", sa.String(12), nullable=False),
        sa.Column("run_id", sa.Integer),
        sa.Column("at", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_profile_versions"),
        sa.ForeignKeyConstraint(["profile_sha256"], ["profiles.sha256"], name="fk_profile_versions_profile_sha256"),
        sa.UniqueConstraint("profile_sha256", name="uq_profile_versions_profile_sha256"),
        sa.ForeignKeyConstraint(["run_id"], ["calibration_runs.id"], name="fk_profile_versions_run_id"),
        sa.UniqueConstraint("name", "version", name="uq_profile_versions_name"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "profile_choices",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("version_id", sa.Integer, nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_profile_choices"),
        sa.ForeignKeyConstraint(["version_id"], ["profile_versions.id"], name="fk_profile_choices_version_id"),
        sqlite_autoincrement=True,
    )
    op.create_table(
        "profile_checks",
        sa.Column("id", sa.Integer, nullable=False),
        sa.Column("version_id", sa.Integer, nullable=False),
        sa.Column("photo_sha256", sa.String(64), nullable=False),
        sa.Column("file", sa.String(200), nullable=False),
        sa.Column("liquid", sa.String(60), nullable=False),
        sa.Column("ph", sa.Float, nullable=False),
        sa.Column("ph_sd", sa.Float, nullable=False),
        sa.Column("reading", sa.Text, nullable=False),
        sa.Column("found", sa.Text, nullable=False),
        sa.Column("at", sa.String(32), nullable=False),
        sa.PrimaryKeyConstraint("id", name="pk_profile_checks"),
        sa.ForeignKeyConstraint(["version_id"], ["profile_versions.id"], name="fk_profile_checks_version_id"),
        sa.ForeignKeyConstraint(["photo_sha256"], ["photos.sha256"], name="fk_profile_checks_photo_sha256"),
        sqlite_autoincrement=True,
    )
    op.create_index("ix_profile_checks_version_id", "profile_checks", ["version_id"])
