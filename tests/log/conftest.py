"""One small log that all tests of tampering start from, on SQLite and on PostgreSQL."""

from __future__ import annotations

import hashlib
import shutil
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from service.log import store
from service.log.archive.backup import prepare
from service.log.archive.restore import restore
from service.log.archive.whole_file import write_whole
from service.log.correction import Correction, corrected_entry
from service.log.database import Database
from service.log.notes import add_note
from stripread.errors import CallError
from tests.log.made_logs import PROFILE
from tests.server.postgres import a_server

KEPT = (hashlib.sha256(PROFILE.encode()).hexdigest(), PROFILE)


@dataclass(frozen=True)
class BaseLog:
    """Three batches, five entries (the fourth corrects the third), a note; entries 1, 2, 3 have keys."""

    data: Path
    url: str
    note: int
    head: str  # of the chain, as a report would show it


def add_reading(c, data: Path, batch: int, ph: float, *, key: str | None = None, note: str = "", photo=None) -> int:
    """A pH reading with a photo of its own."""
    photo = photo or f"photo of {ph} {note}".encode()
    sha256 = hashlib.sha256(photo).hexdigest()
    place = data / "photos" / sha256[:2] / sha256
    place.parent.mkdir(parents=True, exist_ok=True)
    place.write_bytes(photo)
    reason = {"code": "some_glare", "severity": "doubt", "message": "Some shine: tilt it."}
    reading = {"photo": "a.jpg", "kind": "ph", "status": "ok", "ph": ph, "interval": [ph - 0.3, ph + 0.3]}
    reading |= {"reasons": [reason], "sha256": sha256, "software": "stripread 0.1.0", "seconds": 0.1, "pads": []}
    new = store.NewEntry(
        batch, "ph", "photo", sha256, len(photo), reading, wash=batch, note=note, profile=KEPT, extras={"said": {}}
    )
    return store.add_entry(c, new, None if key is None else (key, "e" * 64))


def make_base(data: Path, url: str) -> BaseLog:
    data.mkdir(parents=True, exist_ok=True)
    database = Database(url)
    database.migrate()
    with database.write() as c:
        first, second = store.add_batch(c, "first"), store.add_batch(c, "second")
        store.change_batch(c, first, name="the first", closed=None, details={"water": "tap"})
        for place, ph in enumerate((4.25, 6.5, 6.0)):
            add_reading(c, data, first, ph, key=f"key {place}", note=f"reading {place}")
        note = add_note(c, first, "weight", {"of": "chloride", "grams": 412.0}).id
        third = store.entry(c, 3)
        correction = Correction.model_validate({"by": "M.", "why": "the second wash", "wash": 2})
        size = store.photo_size(c, third["photo_sha256"])
        store.add_entry(c, corrected_entry(third, correction, size, KEPT))
        store.change_batch(c, second, name=None, closed=True, details=None)
        from service.log.chain.links import head

        printed = head(c).link
        add_reading(c, data, first, 7.5, note="last")
        store.add_batch(c, "third")
    database.close()
    return BaseLog(data, url, note, printed)


@pytest.fixture(scope="session")
def sqlite_base(tmp_path_factory) -> BaseLog:
    data = tmp_path_factory.mktemp("base") / "data"
    return make_base(data, f"sqlite:///{data / 'log.sqlite3'}")


@pytest.fixture
def sqlite_log(sqlite_base, tmp_path) -> BaseLog:
    """A copy of it for one test."""
    data = tmp_path / "data"
    shutil.copytree(sqlite_base.data, data)
    return BaseLog(data, f"sqlite:///{data / 'log.sqlite3'}", sqlite_base.note, sqlite_base.head)


@pytest.fixture(scope="session")
def a_backup(sqlite_base, tmp_path_factory):
    """A back-up of the small log."""
    file = tmp_path_factory.mktemp("made") / "b.tar"
    with closing(prepare(sqlite_base.url, sqlite_base.data, file.with_suffix(".scratch"))) as made:
        write_whole(file, made.pieces())
    return file


@pytest.fixture
def refused(tmp_path):
    """Try to restore these bytes; gives what is said when that is refused, and sees that nothing is left."""

    def trying(content: bytes, **named) -> str:
        place = tmp_path / "in"
        place.mkdir(exist_ok=True)
        file = place / "changed.tar"
        file.write_bytes(content)
        with pytest.raises(CallError) as wrong:
            restore(file, place / "to", **named)
        assert [p.name for p in place.iterdir()] == ["changed.tar"]
        said = str(wrong.value)
        assert "\n" not in said
        return said

    return trying


@pytest.fixture(scope="session")
def postgres():
    with a_server() as url:
        yield url


@pytest.fixture(scope="session")
def postgres_base(postgres, tmp_path_factory) -> BaseLog:
    _on_server(postgres, "CREATE DATABASE base")
    return make_base(tmp_path_factory.mktemp("base") / "data", postgres.replace("/bench", "/base"))


@pytest.fixture
def postgres_log(postgres, postgres_base, tmp_path) -> BaseLog:
    _on_server(postgres, "DROP DATABASE IF EXISTS one", "CREATE DATABASE one TEMPLATE base")
    shutil.copytree(postgres_base.data, tmp_path / "data")
    url = postgres.replace("/bench", "/one")
    return BaseLog(tmp_path / "data", url, postgres_base.note, postgres_base.head)


@pytest.fixture(params=["sqlite", pytest.param("postgres", marks=pytest.mark.slow)])
def log(request) -> BaseLog:
    """A small log for one test, on each database."""
    return request.getfixturevalue(f"{request.param}_log")


def _on_server(url: str, *statements: str) -> None:
    engine = create_engine(url, isolation_level="AUTOCOMMIT")
    with engine.connect() as c:
        for statement in statements:
            c.execute(text(statement))
    engine.dispose()
