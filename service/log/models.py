"""The tables of the log. Rows are only ever added; the database itself refuses to change or delete one.

Times are ISO 8601 in UTC with microseconds, as text: the same in every database, and they sort.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar
from datetime import UTC, datetime

from sqlalchemy import (
    BigInteger,
    Column,
    Float,
    ForeignKey,
    Index,
    Integer,
    LargeBinary,
    MetaData,
    String,
    Table,
    Text,
    UniqueConstraint,
)

metadata = MetaData(
    naming_convention={
        "ix": "ix_%(table_name)s_%(column_0_name)s",
        "fk": "fk_%(table_name)s_%(column_0_name)s",
        "pk": "pk_%(table_name)s",
        "uq": "uq_%(table_name)s_%(column_0_name)s",
    }
)

batches = Table(
    "batches",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(200), nullable=False),
    Column("opened_at", String(32), nullable=False),
    Column("closed_at", String(32)),
    Column("details", Text, nullable=False, server_default="{}"),  # JSON: the rinse water's pH and what washing needs
    Index("ix_batches_opened_at", "opened_at", "id"),
    sqlite_autoincrement=True,
)

events = Table(  # what was done to a batch: opened, renamed, closed, opened again, changed
    "events",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("batch_id", Integer, ForeignKey("batches.id"), nullable=False, index=True),
    Column("at", String(32), nullable=False),
    Column("what", String(40), nullable=False),
    Column("detail", Text, nullable=False, server_default="{}"),
    Index("ix_events_at", "at", "id"),
    Index("ix_events_what", "what", "id"),
    sqlite_autoincrement=True,
)

photos = Table(
    "photos",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("size", Integer, nullable=False),
    Column("first_at", String(32), nullable=False),
)

profiles = Table(  # a copy of every profile that a reading was made with
    "profiles",
    metadata,
    Column("sha256", String(64), primary_key=True),
    Column("text", Text, nullable=False),
    Column("first_at", String(32), nullable=False),
)

entries = Table(
    "entries",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("batch_id", Integer, ForeignKey("batches.id"), nullable=False),
    Column("kind", String(8), nullable=False),
    Column("origin", String(12), nullable=False),  # photo, watch, correction, reread
    Column("received_at", String(32), nullable=False),
    Column("snapped_at", String(40)),
    Column("wash", Integer),
    Column("note", Text, nullable=False, server_default=""),
    Column("photo_sha256", String(64), ForeignKey("photos.sha256"), nullable=False, index=True),
    Column("profile_sha256", String(64), ForeignKey("profiles.sha256")),
    Column("software", String(60), nullable=False),
    Column("status", String(10), nullable=False),
    Column("value", Float),  # pH, mg/L or pale fraction
    Column("low", Float),
    Column("high", Float),
    Column("reading", Text, nullable=False),  # the reading's JSON, the same as on the command line
    Column("extras", Text, nullable=False, server_default="{}"),  # JSON: curve colours, options of the reading
    Column("corrects_id", Integer, ForeignKey("entries.id"), index=True),
    Column("made_by", String(100)),
    Column("why", Text),
    Index("ix_entries_batch", "batch_id", "id"),
    Index("ix_entries_received_at", "received_at", "id"),
    Index("ix_entries_again", "batch_id", "photo_sha256", "received_at"),
    sqlite_autoincrement=True,
)

keys = Table(  # Idempotency-Key -> the entry that it made; several keys may name one entry
    "keys",
    metadata,
    Column("key", String(200), primary_key=True),
    Column("fingerprint", String(64), nullable=False),
    Column("entry_id", Integer, ForeignKey("entries.id"), nullable=False),
    Column("at", String(32), nullable=False),
)

answers = Table(  # Idempotency-Key -> the answer to anything else that was posted with it
    "answers",
    metadata,
    Column("key", String(200), primary_key=True),
    Column("fingerprint", String(64), nullable=False),
    Column("status", Integer, nullable=False),
    Column("answer", Text, nullable=False),
    Column("at", String(32), nullable=False),
)

chain = Table(  # one link for each row that was added to the log, and for each state that a batch was in
    "chain",
    metadata,
    Column("n", Integer, primary_key=True, autoincrement=False),
    Column("what", String(10), nullable=False),  # the row's table, or "mark" for the chain's own beginning
    Column("row_key", String(200), nullable=False),
    Column("content", String(64), nullable=False),  # SHA-256 of the row's own content
    Column("link", String(64), nullable=False),  # SHA-256 over this link and the one before
    Column("detail", Text, nullable=False, server_default=""),  # of a mark: JSON
)

sessions = Table(  # paired phones; only a hash of the cookie is kept
    "sessions",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("secret_sha256", String(64), nullable=False, unique=True),
    Column("device", String(200), nullable=False),
    Column("paired_at", String(32), nullable=False),
    Column("revoked_at", String(32)),
    Column("bench_id", Integer, ForeignKey("benches.id")),  # null: the keeper's, and in a service of one bench
    sqlite_autoincrement=True,
)

# The tables below hold what makes the log easier to use, and prove nothing: no link of the chain stands for their rows.

phones = Table(  # phones as their photos name them, and as their user does
    "phones",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("make", String(64), nullable=False),
    Column("model", String(64), nullable=False),
    Column("name", String(60)),
    Column("named_at", String(32)),
    UniqueConstraint("make", "model", name="uq_phones_make"),
    sqlite_autoincrement=True,
)

photo_phones = Table(  # which phone took a photo, once its EXIF was looked at; null where that names none
    "photo_phones",
    metadata,
    Column("photo_sha256", String(64), ForeignKey("photos.sha256"), primary_key=True),
    Column("phone_id", Integer, ForeignKey("phones.id"), index=True),
)

batch_stages = Table(  # the stage that a batch is in, as its notes say; a batch without a row is in the first of all
    "batch_stages",
    metadata,
    Column("batch_id", Integer, ForeignKey("batches.id"), primary_key=True),
    Column("stage", String(100), nullable=False, index=True),
)

calibrations = Table(  # a strip being calibrated: what will be, and has been, a profile
    "calibrations",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(200), nullable=False),
    Column("kind", Text, nullable=False),  # JSON of the strip kind
    Column("chart", Text, nullable=False, server_default="[]"),  # JSON: fields of the maker's chart
    Column("made_at", String(32), nullable=False),
    Column("closed_at", String(32)),
    sqlite_autoincrement=True,
)

calibration_photos = Table(  # its photos; one that was taken out stays, and says when
    "calibration_photos",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("calibration_id", Integer, ForeignKey("calibrations.id"), nullable=False, index=True),
    Column("photo_sha256", String(64), ForeignKey("photos.sha256"), nullable=False),
    Column("file", String(200), nullable=False),
    Column("liquid", String(60), nullable=False),
    Column("temperature_c", Float),
    Column("ph", Float, nullable=False),
    Column("ph_sd", Float, nullable=False),
    Column("light", String(60), nullable=False, server_default=""),
    Column("seen", Text, nullable=False, server_default="{}"),  # JSON: the pads' colours, the photo's own time
    Column("added_at", String(32), nullable=False),
    Column("removed_at", String(32)),
    sqlite_autoincrement=True,
)

calibration_runs = Table(  # each time that a profile was worked out
    "calibration_runs",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("calibration_id", Integer, ForeignKey("calibrations.id"), nullable=False, index=True),
    Column("begun_at", String(32), nullable=False),
    Column("ended_at", String(32)),
    Column("state", String(12), nullable=False),  # running, done, failed, cancelled
    Column("photos", Text, nullable=False),  # JSON: numbers of the photos that it was given
    Column("found", Text, nullable=False, server_default="{}"),  # JSON: evidence, report, or what failed
    Column("profile_sha256", String(64), ForeignKey("profiles.sha256")),
    sqlite_autoincrement=True,
)

profile_versions = Table(  # profiles by name and version
    "profile_versions",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(200), nullable=False),
    Column("version", Integer, nullable=False),
    Column("profile_sha256", String(64), ForeignKey("profiles.sha256"), nullable=False, unique=True),
    Column("origin", String(12), nullable=False),  # calibrated, imported, given
    Column("run_id", Integer, ForeignKey("calibration_runs.id")),
    Column("at", String(32), nullable=False),
    UniqueConstraint("name", "version", name="uq_profile_versions_name"),
    sqlite_autoincrement=True,
)

profile_choices = Table(  # which version of a name was chosen, and when; the newest counts
    "profile_choices",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("version_id", Integer, ForeignKey("profile_versions.id"), nullable=False),
    Column("at", String(32), nullable=False),
    sqlite_autoincrement=True,
)

profile_checks = Table(  # control strips in known liquids, read with a profile
    "profile_checks",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("version_id", Integer, ForeignKey("profile_versions.id"), nullable=False, index=True),
    Column("photo_sha256", String(64), ForeignKey("photos.sha256"), nullable=False),
    Column("file", String(200), nullable=False),
    Column("liquid", String(60), nullable=False),
    Column("ph", Float, nullable=False),
    Column("ph_sd", Float, nullable=False),
    Column("reading", Text, nullable=False),  # JSON of the reading
    Column("found", Text, nullable=False),  # JSON: the check of all control photos up to this one
    Column("at", String(32), nullable=False),
    sqlite_autoincrement=True,
)

batch_sums = Table(  # of each batch: how many entries, and the newest
    "batch_sums",
    metadata,
    Column("batch_id", Integer, ForeignKey("batches.id"), primary_key=True),
    Column("entries", Integer, nullable=False),
    Column("newest", Integer, nullable=False),
)

vessel_sums = Table(  # what the stock vessel holds after all notes up to one, as JSON
    "vessel_sums",
    metadata,
    Column("upto", Integer, ForeignKey("events.id"), primary_key=True, autoincrement=False),
    Column("held", Text, nullable=False),
)

lot_links = Table(  # what went from one batch to another: the note, in whose batch it stands, the silver it took, g
    "lot_links",
    metadata,
    Column("event_id", Integer, ForeignKey("events.id"), primary_key=True, autoincrement=False),
    Column("writer", Integer, ForeignKey("batches.id"), nullable=False, index=True),
    Column("from_batch", Integer, ForeignKey("batches.id"), nullable=False, index=True),
    Column("into_batch", Integer, ForeignKey("batches.id"), nullable=False, index=True),
    Column("low", Float, nullable=False),
    Column("value", Float, nullable=False),
    Column("high", Float, nullable=False),
)

stock_parts = Table(  # a batch's silver in the stock vessel, g, as draws (64-bit floats, little-endian)
    "stock_parts",
    metadata,
    Column("batch_id", Integer, ForeignKey("batches.id"), primary_key=True, autoincrement=False),
    Column("silver", LargeBinary, nullable=False),
)

stock_total = Table(  # their sum, draw by draw, in one row; of how many batches
    "stock_total",
    metadata,
    Column("id", Integer, primary_key=True, autoincrement=False),
    Column("silver", LargeBinary, nullable=False),
    Column("batches", Integer, nullable=False),
)

benches = Table(  # who works here, each with batches of its own; without any the log is one bench's
    "benches",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("name", String(60), nullable=False),
    Column("made_at", String(32), nullable=False),
    Column("revoked_at", String(32)),
    sqlite_autoincrement=True,
)

batch_benches = Table(  # whose a batch is, as its events say, which are in the chain; without a row it is the keeper's
    "batch_benches",
    metadata,
    Column("batch_id", Integer, ForeignKey("batches.id"), primary_key=True, autoincrement=False),
    Column("bench_id", Integer, ForeignKey("benches.id"), nullable=False),
    Index("ix_batch_benches_bench", "bench_id", "batch_id"),
)

bench_profiles = Table(  # profiles that were handed out, by their names: the version chosen last is meant
    "bench_profiles",
    metadata,
    Column("bench_id", Integer, ForeignKey("benches.id"), primary_key=True, autoincrement=False),
    Column("name", String(200), primary_key=True),
)

bench_secrets = Table(  # tokens of programs and links for phones; only hashes are kept, and none in a back-up
    "bench_secrets",
    metadata,
    Column("id", Integer, primary_key=True),
    Column("bench_id", Integer, ForeignKey("benches.id"), nullable=False, index=True),
    Column("sort", String(8), nullable=False),  # token, link
    Column("secret_sha256", String(64), nullable=False, unique=True),
    Column("made_at", String(32), nullable=False),
    Column("ends_at", String(32)),  # of a link
    Column("joins_left", Integer),  # of a link: phones that it still lets in
    Column("revoked_at", String(32)),
    sqlite_autoincrement=True,
)

_BYTES = String(32).with_variant(String(32, collation="C"), "postgresql")  # compared by bytes, as SQLite does

search_rows = Table(  # which batch (source 0), note (1) or reading (2) has a word, by the number that stands for it
    "search_rows",
    metadata,
    Column("word", BigInteger, primary_key=True, autoincrement=False),
    Column("source", Integer, primary_key=True, autoincrement=False),
    Column("at", _BYTES, primary_key=True),
    Column("number", Integer, primary_key=True, autoincrement=False),
    sqlite_with_rowid=False,
)

search_ends = Table(  # of each source every end of every word, and the word's number
    "search_ends",
    metadata,
    Column("source", Integer, primary_key=True, autoincrement=False),
    Column("ending", _BYTES, primary_key=True),
    Column("word", BigInteger, primary_key=True, autoincrement=False),
    sqlite_with_rowid=False,
)


_made_up: ContextVar[str | None] = ContextVar("made_up", default=None)


def now() -> str:
    """The time as the log writes it."""
    return _made_up.get() or datetime.now(UTC).isoformat(timespec="microseconds")


@contextmanager
def made_up_time(at: str) -> Iterator[None]:
    """Let the log of a made-up batch have made-up times; a real batch never comes here."""
    before = _made_up.set(datetime.fromisoformat(at).replace(tzinfo=UTC).isoformat(timespec="microseconds"))
    try:
        yield
    finally:
        _made_up.reset(before)
