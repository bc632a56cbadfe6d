"""A back-up that was changed on purpose, every hash made anew, is refused all the same."""

import hashlib
import tarfile

import pytest

from tests.log.repacked import apart, head_of, photo_in


def _renamed(new):
    return lambda parts, _: parts.rename(photo_in(parts), new)


def _linked(kind, name=None):
    def change(parts, _):
        photo = photo_in(parts)
        parts.heads[photo] = head_of(name or photo, kind, link="/etc/passwd")

    return change


def _more(name, content=b"hello", kind=tarfile.REGTYPE):
    return lambda parts, _: parts.extra.append((head_of(name, kind, len(content)), content))


def _manifest(**new):
    return lambda parts, _: parts.manifest.update(new)


def _twice(parts, _):
    photo = photo_in(parts)
    parts.manifest["members"].append({"name": photo, "size": len(parts.files[photo]), "sha256": photo[-64:]})


def _count(parts, _):
    parts.manifest["counts"]["entries"] += 1


def _no_photo(parts, _):
    parts.drop(photo_in(parts))


def _no_file(parts, _):
    """Named, and not there."""
    photo = photo_in(parts)
    parts.heads[photo] = b""
    parts.files[photo] = b""


def _too_large(parts, _):
    photo = photo_in(parts)
    parts.files[photo] += b"more"
    parts.heads[photo] = head_of(photo, tarfile.REGTYPE, len(parts.files[photo]))


def _claims_too_much(parts, _):
    parts.manifest["members"][1]["size"] = 10**15


def _other_photo(parts, _):
    photo = photo_in(parts)
    parts.drop(photo)
    content = b"another photo"
    sha256 = hashlib.sha256(content).hexdigest()
    parts.put(f"photos/{sha256[:2]}/{sha256}", content)


def _loose_photo(parts, _):
    sha256 = hashlib.sha256(b"loose").hexdigest()
    parts.put(f"photos/{sha256[:2]}/{sha256}", b"loose")


def _loose_profile(parts, _):
    parts.put(f"profiles/{hashlib.sha256(b'loose').hexdigest()}.toml", b"loose")


def _swapped(parts, _):
    members = parts.manifest["members"]
    members[0], members[1] = members[1], members[0]


def _changed_photo(parts, _):
    photo = photo_in(parts)
    parts.put(photo, b"\0" * len(parts.files[photo]))


def _sql(*statements):
    return lambda parts, folder: parts.in_database(folder, *statements)


def _not_a_database(parts, _):
    parts.put("log.sqlite3", b"hello" * 1000)


_BENCH = "INSERT INTO benches (name, made_at) VALUES ('x', '2026-05-12T10:00:00')"
_TOKEN = (
    "INSERT INTO bench_secrets (bench_id, sort, secret_sha256, made_at) "
    f"VALUES (1, 'token', '{'a' * 64}', '2026-05-12T10:00:00')"
)
_PHONE = f"INSERT INTO sessions (secret_sha256, device, paired_at) VALUES ('{'a' * 64}', 'x', '2026-05-12T10:00:00')"
_FREE = "DROP TRIGGER entries_no_update"
CHANGES = {
    "a path that leads out": (_renamed("../../out"), "no log has a file"),
    "a path from the root": (_renamed("/tmp/out"), "no log has a file"),
    "another name": (_renamed("photos/ab/hello"), "no log has a file"),
    "a line break in a name": (_renamed("photos/a\nb"), "no log has a file"),
    "a name twice": (_twice, "twice"),
    "another order": (_swapped, "must come first"),
    "a link": (_linked(tarfile.SYMTYPE), "the link"),
    "a hard link": (_linked(tarfile.LNKTYPE), "the link"),
    "a device": (_linked(tarfile.CHRTYPE), "the special file"),
    "a fifo": (_linked(tarfile.FIFOTYPE), "the special file"),
    "a folder": (_linked(tarfile.DIRTYPE), "the folder"),
    "a path that leads out, in the header alone": (_linked(tarfile.REGTYPE, "../out"), "'../out'"),
    "a member more": (_more("hello"), "'hello'"),
    "a member more, from the root": (_more("/etc/cron.d/hello"), "'/etc/cron.d/hello'"),
    "a link more": (_more("log.sqlite3", b"", tarfile.SYMTYPE), "the link 'log.sqlite3'"),
    "a member less": (_no_file, "where the header should be"),
    "a member less, and the manifest agrees": (_no_photo, "is missing"),
    "a member that is larger than said": (_too_large, "where the header should be"),
    "a size that nobody has": (_claims_too_much, "cut off"),
    "a photo instead of another": (_other_photo, "is missing"),
    "a photo that no entry names": (_loose_photo, "does not name"),
    "a profile that no entry names": (_loose_profile, "does not name"),
    "a changed photo under its old name": (_changed_photo, "no log has a file"),
    "a later version": (_manifest(version=2), "restore it with that one"),
    "an odd version": (_manifest(version=[1] * 100), "knows version 1"),
    "another program's": (_manifest(format="x"), "not one of stripread's"),
    "another form": (_manifest(form="0999"), "restore it with that version"),
    "another head": (_manifest(chain={"links": 3, "head": "a" * 64}), "head of the chain or counts differ"),
    "another count": (_count, "head of the chain or counts differ"),
    "no count": (_manifest(counts={}), "head of the chain or counts differ"),
    "a field more": (_manifest(hello=1), "wrong at hello"),
    "a time without a zone": (_manifest(made_at="2026-05-12T10:00:00"), "wrong at made_at"),
    "a time that never comes": (_manifest(made_at="9999-05-12T10:00:00+00:00"), "wrong at made_at"),
    "faults that are none": (_manifest(faults=["entry 1 is not what it was"]), "was not whole"),
    "a paired phone": (_sql(_PHONE), "paired phones"),
    "a bench's token": (_sql(_BENCH, _TOKEN), "paired phones or tokens"),
    "a view": (_sql("CREATE VIEW hello AS SELECT 1"), "view 'hello'"),
    "a view in the place of the phones": (
        _sql("DROP TABLE sessions", "CREATE VIEW sessions AS SELECT 1 AS id WHERE 0"), "view 'sessions'"
    ),
    "a table": (_sql("CREATE TABLE hello (x)"), "table 'hello'"),
    "a trigger": (_sql("CREATE TRIGGER hello AFTER INSERT ON entries BEGIN DELETE FROM sessions; END"), "guard hello"),
    "a guard less": (_sql(_FREE), "guard entries_no_update is missing"),
    "a changed entry": (_sql(_FREE, "UPDATE entries SET wash = 9 WHERE id = 2"), "entry 2 is not what it was"),
    "no database": (_not_a_database, "log"),
}  # fmt: skip


@pytest.mark.parametrize("what", CHANGES)
def test_what_was_changed_on_purpose(a_backup, refused, tmp_path, what):
    change, words = CHANGES[what]
    parts = apart(a_backup)
    change(parts, tmp_path)
    assert words in refused(parts.together())
