"""A back-up that was damaged, cut off, changed or made by somebody else is refused, and nothing is left behind."""

import errno
import gzip
import hashlib
import json
import random
import shutil
import subprocess
import sys
import tarfile

import pytest
from click.testing import CliRunner

from service.commands.log import command
from service.log.archive import manifest as manifests
from service.log.archive.restore import _content, restore
from stripread.errors import CallError
from tests.log.repacked import apart, head_of, other_tar, photo_in
from tests.log.test_read_only_copy import seal


def run(*args):
    return CliRunner().invoke(command, [str(a) for a in args], standalone_mode=False)


@pytest.fixture(scope="module")
def made(sqlite_base, tmp_path_factory):
    """A back-up of the small log."""
    file = tmp_path_factory.mktemp("made") / "b.tar"
    done = run("backup", file, "--data", sqlite_base.data)
    assert done.return_value == 0, done.exception
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


def _spans(file):
    """Name -> where its header, content and padding begin, and where the padding ends."""
    with tarfile.open(file, "r:") as tar:
        return {
            i.name: (i.offset, i.offset_data, i.offset_data + i.size, i.offset_data - (-i.size // 512) * 512)
            for i in tar
        }


def _flip(content: bytes, at: int) -> bytes:
    return content[:at] + bytes([content[at] ^ 1]) + content[at + 1 :]


@pytest.mark.parametrize("what", ["manifest.json", "log.sqlite3", "photos/", "profiles/", "SHA256SUMS"])
@pytest.mark.parametrize("where", ["header", "checksum", "content", "last", "padding"])
def test_one_bit_of_each_kind_of_member(made, refused, what, where):
    whole = made.read_bytes()
    header, content, padding, end = next(v for name, v in _spans(made).items() if name.startswith(what))
    places = {"header": header, "checksum": header + 150, "content": content + 40, "last": padding - 1}
    if where == "padding" and padding == end:
        return
    said = refused(_flip(whole, places.get(where, padding)))
    assert "not restored" in said


def test_one_bit_anywhere(made, refused):
    whole, rng = made.read_bytes(), random.Random(7)
    for at in rng.sample(range(len(whole)), 120):
        refused(_flip(whole, at))


def test_cut_off_anywhere(made, refused):
    whole = made.read_bytes()
    spans = _spans(made)
    places = {0, 1, 511, 512, len(whole) - 1, len(whole) - 512, len(whole) - 1024}
    places |= {at for span in spans.values() for at in span}
    places |= {at + 1 for span in spans.values() for at in span}
    for at in sorted(places):
        if at >= len(whole):
            continue
        said = refused(whole[:at])
        assert "cut off" in said or "no back-up" in said, (at, said)


@pytest.mark.parametrize("more", [b"x", bytes(512), bytes(10240)])
def test_something_after_its_end(made, refused, more):
    assert "after its end" in refused(made.read_bytes() + more)


def test_something_in_the_zeros_at_its_end(made, refused):
    whole = made.read_bytes()
    assert "does not belong there" in refused(whole[:-5] + b"hello")


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
    "another form": (_manifest(form="0007"), "restore it with that version"),
    "another head": (_manifest(chain={"links": 3, "head": "a" * 64}), "head of the chain or counts differ"),
    "another count": (_count, "head of the chain or counts differ"),
    "no count": (_manifest(counts={}), "head of the chain or counts differ"),
    "a field more": (_manifest(hello=1), "wrong at hello"),
    "a time without a zone": (_manifest(made_at="2026-05-12T10:00:00"), "wrong at made_at"),
    "a time that never comes": (_manifest(made_at="9999-05-12T10:00:00+00:00"), "wrong at made_at"),
    "faults that are none": (_manifest(faults=["entry 1 is not what it was"]), "was not whole"),
    "a paired phone": (_sql(_PHONE), "paired phones"),
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
def test_what_was_changed_on_purpose(made, refused, tmp_path, what):
    change, words = CHANGES[what]
    parts = apart(made)
    change(parts, tmp_path)
    assert words in refused(parts.together())


def test_put_together_unchanged_it_is_restored(made, tmp_path):
    """The hand that changes things is able to leave them as they are."""
    file = tmp_path / "again.tar"
    file.write_bytes(apart(made).together())
    assert restore(file, tmp_path / "to").check.whole


def test_a_manifest_that_was_altered_where_nothing_else_tells(made, refused):
    whole = made.read_bytes()
    assert "SHA256SUMS does not agree" in refused(whole.replace(b'"software":"stripread', b'"software":"Stripread', 1))


def test_a_manifest_without_end_is_not_read(made, refused, monkeypatch):
    monkeypatch.setattr("service.log.archive.restore.MAX_MANIFEST", 100)
    assert "no back-up" in refused(made.read_bytes())


@pytest.mark.parametrize("text", [b"[" * 100_000, b"{}", b"\xff\xfe", b'{"format": "stripread back-up", "version": 1}'])
def test_manifests_that_are_none(text):
    with pytest.raises(CallError, match="its manifest"):
        manifests.read_manifest(text)


@pytest.mark.parametrize(
    "content",
    [b"", b"hello", bytes(10240), gzip.compress(b"x" * 1000), other_tar({"a": b"b"}), b"SQLite format 3\0" * 100],
)
def test_foreign_files(refused, content):
    assert "no back-up" in refused(content)


def test_packed_anew_by_another_program(made, refused):
    parts = apart(made)
    again = other_tar({"manifest.json": json.dumps(parts.manifest).encode(), **parts.files})
    assert "manifest.json" in refused(again)


def test_the_folder_must_be_new_or_empty(made, tmp_path):
    full, file = tmp_path / "full", tmp_path / "file"
    full.mkdir()
    (full / "kept").write_text("mine")
    file.write_text("mine")
    link = tmp_path / "link"
    link.symlink_to(file)
    for to, words in (
        (full, "is not empty"),
        (file, "is no folder"),
        (link, "is no folder"),
        (full / "a/b", "no such"),
    ):
        done = run("restore", made, "--to", to)
        assert words in str(done.exception)
    assert (full / "kept").read_text() == file.read_text() == "mine"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "full", "link"]
    empty = tmp_path / "empty"
    empty.mkdir(mode=0o750)
    assert run("restore", made, "--to", empty).return_value == 0
    assert empty.stat().st_mode & 0o777 == 0o750


def test_a_folder_that_came_to_be_meanwhile_is_kept(made, tmp_path, monkeypatch):
    to = tmp_path / "to"

    def late(_):
        to.mkdir()
        (to / "mine").touch()

    monkeypatch.setattr("service.log.archive.restore._sync", late)
    with pytest.raises(CallError, match="not empty"):
        restore(made, to)
    assert [p.name for p in tmp_path.iterdir()] == ["to"]


@pytest.mark.parametrize(("name", "words"), [("none.tar", "no such file"), (".", "is a folder")])
def test_no_file(tmp_path, name, words):
    assert words in str(run("restore", tmp_path / name, "--to", tmp_path / "to").exception)


def test_a_file_that_the_disk_does_not_give():
    class Broken:
        def read(self, _):
            raise OSError(errno.EIO, "Input/output error")

    with pytest.raises(CallError, match="can't be read: Input/output error"):
        list(_content(Broken(), 5, "x"))


def test_into_a_folder_that_nobody_may_write_to(made, tmp_path):
    place = tmp_path / "sealed"
    place.mkdir()
    with seal(place):
        done = run("restore", made, "--to", place / "to")
    assert "nothing was restored: can't write to" in str(done.exception)
    assert "Read-only" in str(done.exception)


def test_onto_a_disk_that_is_full(made, tmp_path, monkeypatch):
    place = tmp_path / "small"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(place)]
    if subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        pytest.skip("needs the right to mount a small file system")
    try:
        assert "make room first" in str(run("restore", made, "--to", place / "to").exception)
        assert list(place.iterdir()) == []
        usage = shutil.disk_usage(tmp_path)
        monkeypatch.setattr(shutil, "disk_usage", lambda _: usage)  # somebody else fills it meanwhile
        done = run("restore", made, "--to", place / "to")
        assert "its disk is full" in str(done.exception)
        assert list(place.iterdir()) == []
    finally:
        subprocess.run(["umount", str(place)], check=True)


@pytest.mark.parametrize("number", [errno.EIO, errno.ENOSPC])
def test_an_error_of_the_disk_leaves_nothing(made, tmp_path, monkeypatch, number):
    def broken(_):
        raise OSError(number, "x")

    monkeypatch.setattr("service.log.archive.restore.sync_folder", broken)
    done = run("restore", made, "--to", tmp_path / "to")
    assert "nothing was restored" in str(done.exception)
    assert list(tmp_path.iterdir()) == []


def test_one_line_at_the_command_line(made, tmp_path):
    call = [sys.executable, "-m", "service.cli", "log", "restore", str(made), "--to", str(tmp_path / "a" / "b")]
    done = subprocess.run(call, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr.count("\n"), done.stdout) == (2, 1, "")
