"""A job in a parcel: everything that it names goes with it, and nothing of it stays where it was opened."""

import hashlib
from dataclasses import replace
from pathlib import Path

import pytest

from service.readers.cluster.parcel import OtherVersion, open_and_work, packed
from service.readers.worker import CellsPhoto, Job


def nothing():
    return "made"


def seen(made, job):
    paths = [job.photo, job.profile, job.blank[0], job.cells.path]
    return made, [path.read_bytes() for path in paths], [str(path) for path in paths], job.profile.suffix


@pytest.fixture
def job(tmp_path):
    for name in ("photo", "profile.toml", "blank", "cells"):
        (tmp_path / name).write_bytes(name.encode())
    cells = CellsPhoto(tmp_path / "cells", "blank", 2.0)
    return Job(
        "tint",
        tmp_path / "photo",
        "a.jpg",
        tmp_path / "profile.toml",
        25.0,
        {},
        blank=(tmp_path / "blank", "b.jpg"),
        cells=cells,
    )


def test_all_that_it_names_is_there_and_gone_after(job):
    parcel = packed(job)
    for path in parcel.files:
        Path(path).unlink()  # another computer has none of them
    made, contents, paths, ending = open_and_work(nothing, seen, parcel)
    assert made == "made"
    assert contents == [b"photo", b"profile.toml", b"blank", b"cells"]
    assert ending == ".toml"
    assert not any(Path(path).exists() for path in paths)
    assert hashlib.sha256(parcel.files[str(job.photo)]).hexdigest() == hashlib.sha256(b"photo").hexdigest()


def test_a_worker_of_another_version_reads_nothing(job):
    with pytest.raises(OtherVersion, match=r"stripread 9\.9\.9 asks: install the same version"):
        open_and_work(nothing, seen, replace(packed(job), software="stripread 9.9.9"))
