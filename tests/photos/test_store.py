"""A store of photos by itself: content-addressed, whole or not at all, held against its hash; on S3 and on a folder."""

import hashlib

import pytest

from service.log.photos.store import NotTheSame, Store, StoreAway
from stripread.errors import CallError

PHOTO = b"a photo of a strip"
NAME = hashlib.sha256(PHOTO).hexdigest()


@pytest.fixture(params=["s3", "file"])
def store(request, tmp_path):
    if request.param == "s3":
        return Store(request.getfixturevalue("bucket").url)
    return Store(f"file://{tmp_path}/far")


def test_a_photo_comes_back_as_it_was_put_under_its_hash(store):
    store.put(NAME, PHOTO)
    store.put(NAME, PHOTO)  # the same again changes nothing
    assert store.get(NAME) == PHOTO
    assert store.sizes("") == {f"{NAME[:2]}/{NAME}": len(PHOTO)}  # in the same folders as on a disk; nothing beside
    assert store.sizes(NAME[:2]) == store.sizes("")
    other = "ff" if NAME[:2] != "ff" else "00"
    assert store.sizes(other) == {}
    with pytest.raises(FileNotFoundError):
        store.get("0" * 64)


def test_what_is_not_its_hash_is_told(store):
    store.put(NAME, PHOTO)
    store._fs.pipe_file(store._place(NAME), PHOTO + b"!")
    with pytest.raises(NotTheSame, match="is not what it was"):
        store.get(NAME)


def test_a_name_from_outside_is_no_path(store):
    for name in ("../../etc/passwd", "A" * 64, "a" * 63):
        with pytest.raises(ValueError, match="not a SHA-256"):
            store.get(name)


def test_a_put_that_is_cut_off_leaves_no_photo(tmp_path, monkeypatch):
    store = Store(f"file://{tmp_path}/far")
    monkeypatch.setattr(store._fs, "mv", lambda *_: (_ for _ in ()).throw(OSError("cut off")))
    with pytest.raises(StoreAway, match="cut off"):
        store.put(NAME, PHOTO)
    assert [path for path in (tmp_path / "far").rglob("*") if path.is_file()] == []


def test_a_store_that_is_away_is_told_at_once_the_second_time(bucket):
    store = Store(bucket.url)
    bucket.away()
    with pytest.raises(StoreAway, match="can't be used now"):
        store.get(NAME)
    with pytest.raises(StoreAway, match="a moment ago"):
        store.get(NAME)


def test_a_bucket_that_is_not_there_is_no_missing_photo(bucket):
    with pytest.raises(StoreAway, match="bucket"):
        Store("s3://no-such-bucket/x").look()


def test_wrong_urls_are_one_line():
    for url in ("photos", "s3://", "s3:///", "file://far", "carrier-pigeon://coop", "memory://far", "ftp://h/x"):
        with pytest.raises(CallError) as wrong:
            Store(url)
        assert url in str(wrong.value)
        assert "\n" not in str(wrong.value)


@pytest.mark.parametrize(
    "url", ["s3://who:secret@h/x", "ftp://who:secret@h/x", "secret@h/x", "s3://b/x?key=secret", "abfs://secret@h/x"]
)
def test_a_password_in_a_url_is_refused_and_not_repeated(url):
    with pytest.raises(CallError) as wrong:
        Store(url)
    assert "secret" not in str(wrong.value)


def test_the_environment_says_the_options(bucket, monkeypatch):
    Store(bucket.url).look()
    monkeypatch.setenv("FSSPEC_S3_ENDPOINT_URL", "http://127.0.0.1:9")  # discard: nobody answers there
    with pytest.raises(StoreAway):
        Store(bucket.url).look()
