"""Photos lined up for a store, sent and tidied: no copy goes on trust, and one bad file holds up no other."""

import hashlib
import io
import os
from pathlib import Path

import pytest

from service.log.blobs import Blobs
from service.log.photos.place import blobs_of, use_store


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
