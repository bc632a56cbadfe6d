"""Photos lined up for a store, sent and tidied: no copy goes on trust, and one bad file holds up no other."""

import hashlib
import io
import logging
import os

import pytest

from service.log.blobs import Blobs
from service.log.photos.folder import FolderCheck
from service.log.photos.held import held
from service.log.photos.place import blobs_of, use_store
from service.log.photos.store import StoreAway


@pytest.fixture
def far(tmp_path):
    return tmp_path / "far"


@pytest.fixture
def blobs(tmp_path, far):
    """Photos of a log whose store is a folder."""
    data = tmp_path / "data"
    (data / "photos").mkdir(parents=True)
    use_store(data, f"file://{far}")
    return blobs_of(data)


def _keep(blobs, photo):
    return blobs.keep(io.BytesIO(photo))[0]


def _there(far):
    return {path.name: path.read_bytes() for path in far.rglob("*") if path.is_file()}


@pytest.fixture
def tidy(blobs):
    def tidying():
        blobs._bound = 1
        for path in blobs.root.glob("??/*"):
            os.utime(path, (1, 1))
        blobs.tidy()
        return list(blobs.all())

    return tidying


def test_a_copy_is_removed_only_if_the_store_says_that_it_has_it(blobs, far, tidy):
    sent = _keep(blobs, b"sent")
    blobs.send()
    never, _size = Blobs(blobs.root).keep(io.BytesIO(b"kept by what had not heard of the store"))
    cut = _keep(blobs, b"cut off there")
    blobs.send()
    blobs.store._fs.pipe_file(blobs.store._place(cut), b"cut")
    hurt = hashlib.sha256(b"a whole photo").hexdigest()
    blobs.path(hurt).parent.mkdir(exist_ok=True)
    blobs.path(hurt).write_bytes(b"half a photo")
    (blobs.root / "aa").mkdir(exist_ok=True)
    (blobs.root / "aa" / "letter.txt").write_text("no photo")
    assert sorted(tidy()) == sorted([never, cut, hurt, "letter.txt"])
    assert sorted(blobs.waiting()) == sorted([never, cut])  # what is damaged is not sent
    blobs.send()
    assert set(tidy()) == {hurt, "letter.txt"}
    assert _there(far) == {sent: b"sent", never: b"kept by what had not heard of the store", cut: b"cut off there"}


def _damage(path):
    path.unlink()  # not through the second name of a whole file
    path.write_bytes(b"what a failing disk gives")


def test_a_whole_photo_behind_a_damaged_file_that_waits_is_sent(blobs, far):
    photos = [b"in the folder it is whole", b"posted again", b"lost"]
    good, again, lost = (_keep(blobs, photo) for photo in photos)
    for sha256 in (good, again, lost):
        _damage(blobs.outgoing / sha256)
    _damage(blobs.path(again))
    _damage(blobs.path(lost))
    assert _keep(blobs, photos[1]) == again
    assert blobs.send() == 2
    assert _there(far) == {good: photos[0], again: photos[1]}
    assert blobs.waiting() == []
    assert {path.name for path in blobs.outgoing.iterdir()} == {f"{sha256}.damaged" for sha256 in (good, lost)}


def _faults(blobs, sha256):
    found = FolderCheck()
    held(blobs).some([(sha256, 7)], found)
    return found.faults


def test_the_check_names_a_damaged_file_that_waits(blobs):
    sha256 = _keep(blobs, b"a photo")
    assert _faults(blobs, sha256) == []
    _damage(blobs.outgoing / sha256)
    (fault,) = _faults(blobs, sha256)
    assert "waits to be sent, in a file that is not what it was" in fault
    (blobs.outgoing / sha256).unlink()
    (fault,) = _faults(blobs, sha256)
    assert "is missing in the store; a copy is in" in fault


def test_one_file_that_cannot_be_read_holds_up_no_other(blobs, far, caplog):
    bad, good = _keep(blobs, b"on a bad sector"), _keep(blobs, b"fine")
    (blobs.outgoing / bad).unlink()
    (blobs.outgoing / bad).mkdir()  # EISDIR: root, who may run this, can read all files
    os.utime(blobs.outgoing / bad, (1, 1))  # its turn is first
    with caplog.at_level(logging.ERROR, logger="stripread.photos"):
        assert blobs.send() == 1
        assert blobs.send() == 0
    assert _there(far) == {good: b"fine"}
    assert blobs.waiting() == [bad]
    assert len(caplog.records) == 1  # said once
    assert bad in caplog.text


def test_a_store_that_is_away_ends_the_round(blobs, far, monkeypatch):
    _keep(blobs, b"one")
    _keep(blobs, b"two")
    asked = []
    monkeypatch.setattr(blobs.store._fs, "makedirs", lambda *_, **__: asked.append(1) or (_ for _ in ()).throw(OSError))
    with pytest.raises(StoreAway):
        blobs.send()
    assert len(asked) == 1
    assert len(blobs.waiting()) == 2
