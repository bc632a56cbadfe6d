"""`stripread read` and `demo` as a user calls them: JSON as the interface fixes it, exit codes, one line on errors."""

import csv
import json
import subprocess
import sys
from pathlib import Path

import pytest

pytestmark = pytest.mark.slow  # a process for each call; how a reading goes to JSON is in test_library too

ROOT = Path(__file__).resolve().parents[2]
DEMO = ROOT / "service" / "demo"
PROFILE = ("--profile", str(DEMO / "profile.toml"))
KEYS = {
    "photo", "kind", "status", "ph", "interval", "level", "alternatives", "pads", "misfit", "reasons", "sha256",
    "profile", "software", "seconds",
}  # fmt: skip


def run(*args: str, cwd: Path = ROOT) -> subprocess.CompletedProcess[str]:
    code = f"import sys; sys.path.insert(0, {str(ROOT)!r}); from service.cli import main; main(sys.argv[1:])"
    return subprocess.run([sys.executable, "-c", code, *args], cwd=cwd, check=False, capture_output=True, text=True)


@pytest.fixture(scope="module")
def readings():
    photos = sorted(str(p) for p in (DEMO / "photos").glob("*.jpg"))
    done = run("read", *photos, "--profile", str(DEMO / "profile.toml"), "--json")
    assert done.returncode == 1, done.stderr  # some are bad on purpose
    return [json.loads(line) for line in done.stdout.splitlines()]


def test_one_json_object_a_photo_in_order(readings):
    assert [Path(r["photo"]).name for r in readings] == sorted(p.name for p in (DEMO / "photos").glob("*.jpg"))
    for reading in readings:
        assert set(reading) >= KEYS
        assert reading["kind"] == "ph"
        assert reading["level"] == 0.95
        assert len(reading["sha256"]) == 64


def test_the_demo_batch_is_read_as_it_is(readings):
    with (DEMO / "photos" / "truth.csv").open(encoding="utf-8") as file:
        truth = {row["photo"]: row for row in csv.DictReader(file)}
    inside = []
    for reading in readings:
        row = truth[Path(reading["photo"]).name]
        if row["fault"]:
            assert reading["status"] != "ok", reading
            assert reading["reasons"]
            continue
        assert reading["status"] != "refused", reading
        low, high = reading["interval"]
        assert abs(reading["ph"] - float(row["ph"])) < 0.3
        assert low <= reading["ph"] <= high
        inside.append(low <= float(row["ph"]) <= high)
        assert len(reading["pads"]) == 4
        assert all(len(pad["corners_px"]) == 4 for pad in reading["pads"])
    assert sum(inside) >= len(inside) - 2  # 95 % of eleven


def test_status_follows_the_reasons(readings):
    for reading in readings:
        severities = {r["severity"] for r in reading["reasons"]}
        expected = "refused" if "refuse" in severities else "doubtful" if "doubt" in severities else "ok"
        assert reading["status"] == expected
        assert (reading["ph"] is None) == (expected == "refused")
        assert (reading["interval"] is None) == (expected == "refused")


def test_budget_adds_up(readings):
    for reading in readings:
        if reading["ph"] is not None:
            total = sum(reading["budget"].values())
            half = (reading["interval"][1] - reading["interval"][0]) / 2
            assert total > 0
            assert 1.4 < half / total**0.5 < 3.0  # a 95 % interval is about two standard deviations


@pytest.mark.parametrize(
    ("args", "word"),
    [
        (("read", "nowhere.jpg", "--profile", str(DEMO / "profile.toml")), "no such photo"),
        (("read", str(DEMO / "photos" / "01-wash-01.jpg"), "--profile", "nowhere.toml"), "profile"),
        (("read", str(DEMO / "photos" / "01-wash-01.jpg"), "--profile", str(DEMO / "strip.toml")), "profile"),
        (("read",), "PHOTOS"),
        (("read", str(DEMO / "photos" / "01-wash-01.jpg"), *PROFILE, "--dipped-at", "soon"), "dip time"),
        (("read", str(DEMO / "photos" / "01-wash-01.jpg"), *PROFILE, "--several-strips"), "--combine"),
        (("read", str(DEMO / "photos" / "01-wash-01.jpg"), *PROFILE, "--blank", "nowhere.jpg"), "no such photo"),
        (("nonsense",), "nonsense"),
        (("calibrate", str(DEMO / "strip.toml"), "--out", "x.toml"), "buffers"),
    ],
)
def test_a_wrong_call_is_one_line_and_exit_2(args, word, tmp_path):
    done = run(*args, cwd=tmp_path)
    assert done.returncode == 2
    assert len(done.stderr.strip().splitlines()) == 1
    assert word in done.stderr
    assert "Traceback" not in done.stderr


def test_a_file_that_is_no_picture_is_refused_not_an_error(tmp_path):
    (tmp_path / "note.jpg").write_text("pH 7, I think")
    done = run("read", "note.jpg", "--profile", str(DEMO / "profile.toml"), "--json", cwd=tmp_path)
    assert done.returncode == 1
    reading = json.loads(done.stdout)
    assert reading["status"] == "refused"
    assert reading["reasons"][0]["code"] == "not_a_picture"


def test_an_overlay_is_a_png(tmp_path):
    photo = str(DEMO / "photos" / "05-wash-04.jpg")
    done = run("read", photo, "--profile", str(DEMO / "profile.toml"), "--overlay", "out.png", cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert (tmp_path / "out.png").read_bytes()[:8] == b"\x89PNG\r\n\x1a\n"


def test_combining_adds_one_line_and_leaves_out_what_was_refused():
    names = ("05-wash-04.jpg", "06-wash-05-glare.jpg", "07-wash-05.jpg")
    photos = [str(DEMO / "photos" / name) for name in names]
    done = run("read", *photos, "--profile", str(DEMO / "profile.toml"), "--json", "--combine")
    assert done.returncode == 1, done.stderr
    *alone, together = [json.loads(line) for line in done.stdout.splitlines()]
    assert len(alone) == 3
    assert set(together) >= KEYS | {"combined_from", "agreement"}
    assert {"left_out", "photos_disagree"} <= {r["code"] for r in together["reasons"]}  # 3.4 and 4.2 are two liquids
    assert [part["used"] for part in together["combined_from"]] == [True, True, False]


def test_a_wash_beside_its_rinse_water():
    photos = [str(DEMO / "photos" / name) for name in ("12-wash-08.jpg", "14-wash-09.jpg")]
    done = run("read", photos[0], "--blank", photos[1], *PROFILE, "--json", "--temperature-c", "25")
    assert done.returncode == 0, done.stderr
    reading = json.loads(done.stdout)
    blank = reading["blank"]
    low, high = blank["difference_interval"]
    assert low <= 6.1 - 6.5 <= high  # truth.csv
    assert blank["probability_differs"] == pytest.approx(
        blank["probability_more_acid"] + blank["probability_more_alkaline"], abs=1e-3
    )
    assert blank["probability_more_acid"] > 0.5
    assert "unbuffered" in {r["code"] for r in reading["reasons"]}
    assert reading["neutral_ph"] == 7.0
