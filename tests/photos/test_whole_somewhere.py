"""Photos of which one file is damaged and another one whole: back-up and move take the whole one, wherever it is."""

from contextlib import closing

import pytest

from service.errors import Conflict
from service.log.archive.backup import prepare
from service.log.archive.restore import restore
from service.log.archive.whole_file import write_whole
from service.log.database import Database
from service.log.photos.moving import to_folder, to_store
from service.log.photos.place import blobs_of, store_url
from stripread.errors import CallError
from tests.archive.logs import made_log


@pytest.fixture
def bench(tmp_path):
    """Settings, the log's photos in a folder that stands for a store, and their contents by hash."""
    settings = made_log(tmp_path / "data", each=2)
    to_store(settings.data, f"file://{tmp_path}/far", lambda *_: None)
    blobs = blobs_of(settings.data)
    return settings, blobs, {sha256: blobs.path(sha256).read_bytes() for sha256 in blobs.all()}


def _far(tmp_path, sha256):
    return tmp_path / "far" / sha256[:2] / sha256


def _damage(path):
    path.unlink(missing_ok=True)  # not through the second name of a whole file
    path.write_bytes(b"what a failing disk gives")


def _hurt(tmp_path, blobs, photos):
    """Four photos: damaged here, lost there, whole only where it waits, and lost in truth: the last one's hash."""
    here, there, waits, lost = list(photos)[:4]
    _damage(blobs.path(here))
    _far(tmp_path, there).unlink()
    _damage(blobs.path(waits))
    _far(tmp_path, waits).unlink()
    (blobs.outgoing / waits).write_bytes(photos[waits])
    _damage(blobs.path(lost))
    _damage(_far(tmp_path, lost))
    return lost


def _backed_up(settings, file, **how):
    with closing(prepare(settings.database_url, settings.data, file.with_name("copy"), **how)) as backup:
        write_whole(file, backup.pieces())
        return backup.manifest


def test_what_is_left_of_a_damaged_log_has_every_photo_that_is_whole_somewhere(bench, tmp_path):
    settings, blobs, photos = bench
    lost = _hurt(tmp_path, blobs, photos)
    manifest = _backed_up(settings, tmp_path / "b.tar", damaged=True)
    assert manifest.faults == [f"photo {lost} is missing"]
    restore(tmp_path / "b.tar", tmp_path / "back", damaged=True)
    back = blobs_of(tmp_path / "back")
    assert {sha256: back.path(sha256).read_bytes() for sha256 in back.all()} == {
        sha256: photo for sha256, photo in photos.items() if sha256 != lost
    }


def test_a_photo_that_is_another_one_in_the_store_is_told_by_a_back_up(bench, tmp_path):
    settings, blobs, photos = bench
    sha256 = next(iter(photos))
    blobs.path(sha256).unlink()
    _damage(_far(tmp_path, sha256))
    with pytest.raises(Conflict, match=rf"photo {sha256} .* is not what it was\. `stripread log check`"):
        _backed_up(settings, tmp_path / "b.tar")


def test_photos_come_back_to_the_folder_from_wherever_they_are_whole(bench, tmp_path):
    settings, blobs, photos = bench
    lost = _hurt(tmp_path, blobs, photos)
    with closing(Database(settings.database_url)) as database:
        with pytest.raises(CallError, match=f"photo {lost} is lost or damaged"):
            to_folder(database, settings.data, lambda *_: None)
        assert store_url(settings.data) is not None
        _far(tmp_path, lost).write_bytes(photos[lost])
        assert to_folder(database, settings.data, lambda *_: None) == len(photos)
    assert store_url(settings.data) is None
    assert {sha256: blobs.path(sha256).read_bytes() for sha256 in blobs.all()} == photos
