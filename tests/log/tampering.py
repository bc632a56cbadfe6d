"""Ways to tamper with a log, each by somebody who owns the database and puts the guards back afterwards.

Row 2 is an entry with a key in the middle of the log (see ``base_log`` in ``conftest``).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

LINKS_OF_2 = "DELETE FROM chain WHERE what = 'entries' AND row_key = '2'"
_ENTRY = (
    "INSERT INTO entries (id, batch_id, kind, origin, received_at, photo_sha256, software, status, reading)"
    " SELECT {id}, batch_id, kind, origin, received_at, photo_sha256, software, status, reading"
    " FROM entries WHERE id = 2"
)


@dataclass(frozen=True)
class InDatabase:
    """SQL that runs with all guards off; then they are set again."""

    statements: tuple[str, ...]
    found: str  # in one of the faults


@dataclass(frozen=True)
class InFolder:
    """Something done to the files of the log."""

    act: Callable[[Path], None]
    found: str  # in one of the faults, or of the strays


def _sql(found: str, *statements: str) -> InDatabase:
    return InDatabase(statements, found)


def _entry(setting: str, found: str = "entry 2 is not what it was") -> InDatabase:
    return InDatabase((f"UPDATE entries SET {setting} WHERE id = 2",), found)


ROWS: dict[str, InDatabase] = {
    "a value": _entry("value = 6.99", "entry 2 does not agree with its reading"),
    "an interval's end": _entry("high = 7.01", "entry 2 does not agree with its reading"),
    "a value, in its reading as well": _entry("value = 6.75, reading = replace(reading, '6.5', '6.75')"),
    "a reason taken out of the reading": _entry("reading = replace(reading, 'some_glare', 'other')"),
    "a status": _entry("status = 'doubtful'", "entry 2 does not agree with its reading"),
    "a wash": _entry("wash = 9"),
    "a note": _entry("note = 'nothing to see'"),
    "the time of arrival": _entry("received_at = '2026-01-01T00:00:00.000000+00:00'"),
    "the phone's time": _entry("snapped_at = '2026-01-01T00:00:00+00:00'"),
    "where it came from": _entry("origin = 'watch'"),
    "an entry moved to another batch": _entry("batch_id = 2"),
    "another photo named": _entry("photo_sha256 = (SELECT photo_sha256 FROM entries WHERE id = 1)"),
    "its profile taken away": _entry("profile_sha256 = NULL"),
    "the program's version": _entry("software = 'stripread 9.9'"),
    "an entry withdrawn": _entry("extras = '{\"withdrawn\": true}'"),
    "extras that are no JSON": _entry("extras = '{'", "entry 2"),
    "a correction that corrects nothing any more": _sql(
        "entry 4 is not what it was", "UPDATE entries SET corrects_id = NULL WHERE id = 4"
    ),
    "who corrected": _sql("entry 4 is not what it was", "UPDATE entries SET made_by = 'N.' WHERE id = 4"),
    "why it was corrected": _sql("entry 4 is not what it was", "UPDATE entries SET why = 'no' WHERE id = 4"),
    "an entry and its key deleted": _sql(
        "entry 2 was taken out of the log", "DELETE FROM keys WHERE entry_id = 2", "DELETE FROM entries WHERE id = 2"
    ),
    "an entry, its key and their links deleted": _sql(
        "chain: link",
        "DELETE FROM chain WHERE what = 'keys' AND row_key IN (SELECT key FROM keys WHERE entry_id = 2)",
        LINKS_OF_2,
        "DELETE FROM keys WHERE entry_id = 2",
        "DELETE FROM entries WHERE id = 2",
    ),
    "an entry added past the program": _sql("entry 900 has no link in the chain", _ENTRY.format(id=900)),
    "two entries changed for each other": _sql(
        "entry 2 is not what it was",
        "UPDATE entries SET id = 901 WHERE id = 1",
        "UPDATE entries SET id = 1 WHERE id = 2",
        "UPDATE entries SET id = 2 WHERE id = 901",
    ),
    "a note's content": _sql(
        "event {note} is not what it was", "UPDATE events SET detail = replace(detail, '412', '512') WHERE id = {note}"
    ),
    "a note's time": _sql(
        "event {note} is not what it was", "UPDATE events SET at = '2026-01-01T00:00:00+00:00' WHERE id = {note}"
    ),
    "a note removed": _sql("event {note} was taken out of the log", "DELETE FROM events WHERE id = {note}"),
    "a note of another kind": _sql(
        "event {note} is not what it was", "UPDATE events SET what = 'bench:used' WHERE id = {note}"
    ),
    "a note that can't be read": _sql("event {note} can't be read", "UPDATE events SET detail = '[' WHERE id = {note}"),
    "a note added past the program": _sql(
        "event 900 has no link",
        "INSERT INTO events (id, batch_id, at, what, detail) VALUES (900, 1, '2026-01-01', 'renamed', '{{}}')",
    ),
    "a batch's name": _sql("batch 1 is not what it was", "UPDATE batches SET name = 'other' WHERE id = 1"),
    "a closed batch opened": _sql("batch 2 is not what it was", "UPDATE batches SET closed_at = NULL WHERE id = 2"),
    "when a batch was opened": _sql("batch 1 is not what it was", "UPDATE batches SET opened_at = '2026' WHERE id = 1"),
    "a batch's rinse water": _sql("batch 1 is not what it was", "UPDATE batches SET details = '{{}}' WHERE id = 1"),
    "a batch removed": _sql("batch 3 was taken out of the log", "DELETE FROM batches WHERE id = 3"),
    "a photo's row removed": _sql(
        "was taken out of the log", "DELETE FROM photos WHERE sha256 = (SELECT photo_sha256 FROM entries WHERE id = 2)"
    ),
    "a photo's size": _sql("photo", "UPDATE photos SET size = size + 1"),
    "when a photo came": _sql("is not what it was", "UPDATE photos SET first_at = '2026'"),
    "a profile's text": _sql("profile", "UPDATE profiles SET text = replace(text, 'made', 'made otherwise')"),
    "a profile removed": _sql("names an unknown profile", "DELETE FROM profiles"),
    "a key removed": _sql("was taken out of the log", "DELETE FROM keys WHERE entry_id = 2"),
    "a key turned to another entry": _sql("is not what it was", "UPDATE keys SET entry_id = 1 WHERE entry_id = 2"),
    "a key's fingerprint": _sql("is not what it was", "UPDATE keys SET fingerprint = 'f' WHERE entry_id = 2"),
    "a link's hash": _sql("does not follow", "UPDATE chain SET link = content WHERE n = 5"),
    "a link made to fit a changed row": _sql(
        "does not follow",
        "UPDATE entries SET note = 'n' WHERE id = 2",
        "UPDATE chain SET content = '" + "0" * 64 + "' WHERE what = 'entries' AND row_key = '2'",
    ),
    "a link deleted": _sql("chain: link 5 is missing", "DELETE FROM chain WHERE n = 5"),
    "the newest link deleted": _sql(
        "has no link in the chain", "DELETE FROM chain WHERE n = (SELECT max(n) FROM chain)"
    ),
    "the chain's beginning": _sql("its mark was changed", "UPDATE chain SET detail = '{{}}' WHERE n = 1"),
    "the chain emptied": _sql("chain: its beginning is missing", "DELETE FROM chain"),
    "the chain dropped": _sql("the log has no chain", "DROP TABLE chain"),
    "a later form": _sql("the form 0999", "UPDATE alembic_version SET version_num = '0999'"),
    "no form": _sql("does not say which form", "DELETE FROM alembic_version"),
}


def _photo(data: Path) -> Path:
    return sorted(path for path in (data / "photos").rglob("*") if path.is_file())[0]


def _linked(data: Path) -> None:
    photo = _photo(data)
    elsewhere = data.parent / "elsewhere"
    photo.rename(elsewhere)
    photo.symlink_to(elsewhere)


def _folder_linked(data: Path) -> None:
    folder = _photo(data).parent
    elsewhere = data.parent / "elsewhere"
    folder.rename(elsewhere)
    folder.symlink_to(elsewhere)


def _as_folder(data: Path) -> None:
    photo = _photo(data)
    photo.unlink()
    photo.mkdir()


def _swapped(data: Path) -> None:
    photo = _photo(data)
    photo.write_bytes(bytes(byte ^ 1 for byte in photo.read_bytes()))


def _profile_file(data: Path) -> None:
    (data / "profiles").mkdir(exist_ok=True)
    (data / "profiles" / f"{'a' * 64}.toml").write_text("name = 'other'\n")


FILES: dict[str, InFolder] = {
    "a photo deleted": InFolder(lambda data: _photo(data).unlink(), "is missing"),
    "a photo's bytes, of the same size": InFolder(_swapped, "is not what it was"),
    "a photo cut off": InFolder(lambda data: _photo(data).write_bytes(b""), "is not what it was"),
    "a photo that is a link": InFolder(_linked, "is a link"),
    "a folder of photos that is a link": InFolder(_folder_linked, "is a link"),
    "a photo that is a folder": InFolder(_as_folder, "is no file"),
    "a stray file": InFolder(lambda data: (data / "photos" / "notes.txt").write_text("x") and None, "notes.txt"),
    "a stray file among the photos": InFolder(
        lambda data: (_photo(data).parent / ("b" * 64)).write_text("x") and None, "b" * 64
    ),
    "a kept profile's file": InFolder(_profile_file, "profile file"),
}
