"""A result that can't be written is refused in one line, before any photo is read and with nothing left behind."""

import shutil
from pathlib import Path

import pytest

from service.cli import main
from service.terminal.picture_paths import overlay_paths
from stripread.errors import CallError

DEMO = Path("service/demo").resolve()
PROFILE = str(DEMO / "profile.toml")
STRIP, OTHER = (str(DEMO / "photos" / name) for name in ("01-wash-01.jpg", "02-wash-02.jpg"))
TINT, SOLID = (str(DEMO / "windows" / name) for name in ("tint-1-first-wash.jpg", "solid-1-early.jpg"))
BUFFERS = str(DEMO / "buffers/buffers.csv")

CALLS = {
    "read": ["read", STRIP, "--profile", PROFILE, "--overlay"],
    "read several": ["read", STRIP, OTHER, "--profile", PROFILE, "--overlay"],
    "tint": ["tint", TINT, "--overlay"],
    "tint with a second photo": ["tint", TINT, "--cell-blank", TINT, "--overlay"],
    "solid": ["solid", SOLID, "--overlay"],
    "calibrate": ["calibrate", str(DEMO / "strip.toml"), "--buffers", BUFFERS, "--out"],
    "check": ["check", PROFILE, "--buffers", BUFFERS, "--out"],
    "card": ["card", "--out"],
    "demo": ["demo", "--out"],
    "batch demo": ["batch", "demo", "--out"],
    "batch demo's log": ["batch", "demo", "--out", "good", "--data"],
    "batch report": ["batch", "report", "1", "--out"],
    "batch new": ["batch", "new", "x", "--data"],
    "log backup": ["log", "backup"],
}


@pytest.fixture(scope="module")
def log(tmp_path_factory):
    """A log with one batch, for what reports and backs up."""
    data = tmp_path_factory.mktemp("log") / "stripread-data"
    with pytest.raises(SystemExit) as end:
        main(["batch", "new", "x", "--data", str(data)])
    assert end.value.code == 0
    return data


@pytest.fixture
def error_of(tmp_path, log, monkeypatch, capsys):
    """Run a call that must be refused, beside the log, while no photo may be read; returns what it said."""
    shutil.copytree(log, tmp_path / "stripread-data")
    (tmp_path / "file").write_text("kept")
    monkeypatch.chdir(tmp_path)

    really = Path.read_bytes

    def opened(path):
        assert path.suffix not in {".jpg", ".png"}, f"{path} was read"
        return really(path)

    def calling(args):
        before = {p for p in Path().rglob("*") if "stripread-data" not in p.parts}
        with monkeypatch.context() as patch:
            patch.setattr(Path, "read_bytes", opened)
            with pytest.raises(SystemExit) as end:
                main(args)
        said = capsys.readouterr()
        assert end.value.code == 2
        assert (said.out, said.err.count("\n")) == ("", 1)
        assert "internal problem" not in said.err
        after = {p for p in Path().rglob("*") if "stripread-data" not in p.parts}
        assert after - before <= {Path("good")}
        assert Path("file").read_text() == "kept"
        return said.err

    return calling


@pytest.mark.parametrize("call", CALLS)
def test_a_place_below_a_file(call, error_of):
    ending = {"batch report": ".html", "read": ".png"}.get(call, "")
    assert "file" in error_of([*CALLS[call], f"file/x{ending}"])


@pytest.mark.parametrize("call", ["read", "tint", "solid", "calibrate", "check", "card", "batch report", "log backup"])
def test_a_folder_that_is_not_there(call, error_of):
    ending = ".html" if call == "batch report" else ".png"
    ending = ".pdf" if call == "card" else ending
    assert "no such folder: none; make it first" in error_of([*CALLS[call], f"none/x{ending}"])


@pytest.mark.parametrize("call", ["calibrate", "check", "card"])
def test_a_folder_in_place_of_a_file(call, error_of):
    Path("folder").mkdir()
    assert "is a folder: name a file in it" in error_of([*CALLS[call], "folder"])


@pytest.mark.parametrize("call", ["read", "check", "card"])
def test_another_form_of_file(call, error_of):
    form = ".pdf" if call == "card" else ".png"
    assert f"writes a file that ends in {form}, not x.webp" in error_of([*CALLS[call], "x.webp"])


def test_a_name_that_no_disk_takes(error_of):
    assert "too long): name a shorter one" in error_of([*CALLS["calibrate"], "x" * 300])
    assert "can't write /proc/x" in error_of([*CALLS["calibrate"], "/proc/x"])


def test_what_is_read_is_not_written_over(error_of):
    shutil.copy(STRIP, "p.png")
    assert "write over what is read" in error_of(["read", "p.png", "--profile", PROFILE, "--overlay", "p.png"])
    assert "write over what is read" in error_of(["read", "p.png", STRIP, "--profile", PROFILE, "--overlay", "."])
    shutil.copy(PROFILE, "profile.toml")
    same = ["calibrate", "profile.toml", "--buffers", BUFFERS, "--out", "./profile.toml"]
    assert "write over what is read" in error_of(same)


def test_a_missing_photo_leaves_no_folder_behind(error_of):
    assert "no such photo: none.jpg" in error_of(["tint", TINT, "none.jpg", "--overlay", "new"])
    assert not Path("new").exists()


def test_pictures_of_photos_of_one_name_are_several(tmp_path):
    photos = [tmp_path / name for name in ("1/a.jpg", "2/a.jpg", "a-2.jpg")]
    for photo in photos:
        photo.parent.mkdir(exist_ok=True)
        photo.touch()
    places = overlay_paths(tuple(photos), tmp_path / "out")
    assert [p.name for p in places] == ["a.png", "a-2.png", "a-2-2.png"]
    with pytest.raises(CallError, match="several photos"):
        overlay_paths(tuple(photos), tmp_path / "out.png")
