"""A back-up that was damaged, cut off, changed or made by somebody else is refused, and nothing is left behind."""

import errno
import gzip
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
from tests.log.repacked import apart, other_tar
from tests.log.test_read_only_copy import seal


def run(*args):
    return CliRunner().invoke(command, [str(a) for a in args], standalone_mode=False)


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
def test_one_bit_of_each_kind_of_member(a_backup, refused, what, where):
    whole = a_backup.read_bytes()
    header, content, padding, end = next(v for name, v in _spans(a_backup).items() if name.startswith(what))
    places = {"header": header, "checksum": header + 150, "content": content + 40, "last": padding - 1}
    if where == "padding" and padding == end:
        return
    said = refused(_flip(whole, places.get(where, padding)))
    assert "not restored" in said


def test_one_bit_anywhere(a_backup, refused):
    whole, rng = a_backup.read_bytes(), random.Random(7)
    for at in rng.sample(range(len(whole)), 120):
        refused(_flip(whole, at))


def test_cut_off_anywhere(a_backup, refused):
    whole = a_backup.read_bytes()
    spans = _spans(a_backup)
    places = {0, 1, 511, 512, len(whole) - 1, len(whole) - 512, len(whole) - 1024}
    places |= {at for span in spans.values() for at in span}
    places |= {at + 1 for span in spans.values() for at in span}
    for at in sorted(places):
        if at >= len(whole):
            continue
        said = refused(whole[:at])
        assert "cut off" in said or "no back-up" in said, (at, said)


@pytest.mark.parametrize("more", [b"x", bytes(512), bytes(10240)])
def test_something_after_its_end(a_backup, refused, more):
    assert "after its end" in refused(a_backup.read_bytes() + more)


def test_something_in_the_zeros_at_its_end(a_backup, refused):
    whole = a_backup.read_bytes()
    assert "does not belong there" in refused(whole[:-5] + b"hello")


def test_put_together_unchanged_it_is_restored(a_backup, tmp_path):
    """The hand that changes things is able to leave them as they are."""
    file = tmp_path / "again.tar"
    file.write_bytes(apart(a_backup).together())
    assert restore(file, tmp_path / "to").check.whole


def test_a_manifest_that_was_altered_where_nothing_else_tells(a_backup, refused):
    whole = a_backup.read_bytes()
    assert "SHA256SUMS does not agree" in refused(whole.replace(b'"software":"stripread', b'"software":"Stripread', 1))


def test_a_manifest_without_end_is_not_read(a_backup, refused, monkeypatch):
    monkeypatch.setattr("service.log.archive.restore.MAX_MANIFEST", 100)
    assert "no back-up" in refused(a_backup.read_bytes())


@pytest.mark.parametrize("text", [b"[" * 100_000, b"{}", b"\xff\xfe", b'{"format": "stripread back-up", "version": 1}'])
def test_manifests_that_are_none(text):
    with pytest.raises(CallError, match="its manifest"):
        manifests.read_manifest(text)


@pytest.mark.parametrize(
    "content",
    [b"", b"hello", bytes(10240), gzip.compress(b"x" * 1000), other_tar({"a": b"b"}), b"SQLite format 3\0" * 100],
    ids=["nothing", "text", "zeros", "gzip", "another tar", "a database"],  # what gzip makes holds the time: no name
)
def test_foreign_files(refused, content):
    assert "no back-up" in refused(content)


def test_packed_anew_by_another_program(a_backup, refused):
    parts = apart(a_backup)
    again = other_tar({"manifest.json": json.dumps(parts.manifest).encode(), **parts.files})
    assert "manifest.json" in refused(again)


def test_the_folder_must_be_new_or_empty(a_backup, tmp_path):
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
        done = run("restore", a_backup, "--to", to)
        assert words in str(done.exception)
    assert (full / "kept").read_text() == file.read_text() == "mine"
    assert sorted(p.name for p in tmp_path.iterdir()) == ["file", "full", "link"]
    empty = tmp_path / "empty"
    empty.mkdir(mode=0o750)
    assert run("restore", a_backup, "--to", empty).return_value == 0
    assert empty.stat().st_mode & 0o777 == 0o750


def test_a_folder_that_came_to_be_meanwhile_is_kept(a_backup, tmp_path, monkeypatch):
    to = tmp_path / "to"

    def late(_):
        to.mkdir()
        (to / "mine").touch()

    monkeypatch.setattr("service.log.archive.restore._sync", late)
    with pytest.raises(CallError, match="not empty"):
        restore(a_backup, to)
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


def test_into_a_folder_that_nobody_may_write_to(a_backup, tmp_path):
    place = tmp_path / "sealed"
    place.mkdir()
    with seal(place):
        done = run("restore", a_backup, "--to", place / "to")
    assert "nothing was restored: can't write to" in str(done.exception)
    assert "Read-only" in str(done.exception)


def test_onto_a_disk_that_is_full(a_backup, tmp_path, monkeypatch):
    place = tmp_path / "small"
    place.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=64k", "tmpfs", str(place)]
    if subprocess.run(mount, capture_output=True, check=False).returncode != 0:
        pytest.skip("needs the right to mount a small file system")
    try:
        assert "make room first" in str(run("restore", a_backup, "--to", place / "to").exception)
        assert list(place.iterdir()) == []
        usage = shutil.disk_usage(tmp_path)
        monkeypatch.setattr(shutil, "disk_usage", lambda _: usage)  # somebody else fills it meanwhile
        done = run("restore", a_backup, "--to", place / "to")
        assert "its disk is full" in str(done.exception)
        assert list(place.iterdir()) == []
    finally:
        subprocess.run(["umount", str(place)], check=True)


@pytest.mark.parametrize("number", [errno.EIO, errno.ENOSPC])
def test_an_error_of_the_disk_leaves_nothing(a_backup, tmp_path, monkeypatch, number):
    def broken(_):
        raise OSError(number, "x")

    monkeypatch.setattr("service.log.archive.restore.sync_folder", broken)
    done = run("restore", a_backup, "--to", tmp_path / "to")
    assert "nothing was restored" in str(done.exception)
    assert list(tmp_path.iterdir()) == []


def test_one_line_at_the_command_line(a_backup, tmp_path):
    call = [sys.executable, "-m", "service.cli", "log", "restore", str(a_backup), "--to", str(tmp_path / "a" / "b")]
    done = subprocess.run(call, capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr.count("\n"), done.stdout) == (2, 1, "")
