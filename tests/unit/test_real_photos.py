"""Real photos: the table is checked before a picture is opened, photos are judged as it says, all or nothing."""

import csv
import re
import shutil
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from stripread.errors import CallError
from stripread.ph.buffers import buffer_ph
from stripread.ph.profile import load_profile
from tests.judged import CAUSES, LEVELS
from tests.real_photos.__main__ import main, study
from tests.real_photos.judge import RealRow, judge, make_profiles
from tests.real_photos.page import body, write_study
from tests.real_photos.stand_in import ASKED, plan, write_set
from tests.real_photos.table import COLUMNS, TABLE, read_table
from tests.tune.names import entries

ROOT = Path(__file__).resolve().parents[2]
PAPER = ROOT / "docs" / "real-photos.md"
TEMPLATE = ROOT / "tests" / "data" / "real_photos" / TABLE
DEMO = ROOT / "service" / "demo"
MADE = {"use": "calibrate", "reading": "ph", "kind": "strip.toml", "profile": "home", "printer": "inkjet"}
MADE |= {"bottle": "lot 1", "phone": "A", "lamp": "window", "liquid": "phosphate", "temp_c": "25", "truth_by": "table"}
READ = MADE | {"use": "read", "liquid": "mix", "truth": "6.3", "truth_sd": "0.03", "truth_by": "meter", "meter": "M"}
TINT = {"use": "read", "reading": "tint", "printer": "inkjet", "phone": "A", "lamp": "window", "liquid": "copper"}
TINT |= {"truth": "20", "truth_sd": "1", "truth_by": "weighed", "path_mm": "25"}
SOLID = TINT | {"reading": "solid", "liquid": "grains", "truth": "0.05", "truth_sd": "0.01", "truth_by": "counted"}


def write_table(folder, *lines, head=COLUMNS):
    """A table whose photos are files of a few bytes, line 2 the first."""
    folder.mkdir(exist_ok=True)
    with (folder / TABLE).open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, head)
        writer.writeheader()
        for n, line in enumerate(lines, 2):
            (folder / f"{n}.jpg").write_bytes(b"photo %d" % n)
            writer.writerow({"photo": f"{n}.jpg", **line})
    return folder


def test_a_line_is_taken_as_it_stands(tmp_path):
    made, read, tint, solid = read_table(write_table(tmp_path, MADE, READ | {"hard": "yes"}, TINT, SOLID))
    assert (made.truth, made.truth_sd) == buffer_ph("phosphate", 25.0)
    assert (read.truth, read.truth_sd, read.meter, read.hard, read.line) == (6.3, 0.03, "M", True, 3)
    assert read.setup == "A x lot 1 x inkjet"
    assert (tint.truth, tint.path_mm, tint.temp_c) == (20.0, 25.0, None)
    assert (solid.truth, solid.truth_by, solid.path_mm) == (0.05, "counted", None)


@pytest.mark.parametrize(
    ("change", "told"),
    [
        ({"photo": "none.jpg"}, "line 3, column photo: no such file"),
        ({"photo": "2.jpg"}, "line 3, column photo: 2.jpg is the same picture as 2.jpg in line 2"),
        ({"use": "both"}, "line 3, column use: 'both': write calibrate or read"),
        ({"reading": ""}, "line 3, column reading: it is empty: write ph or tint or solid"),
        ({"kind": ""}, "line 3, column kind: is empty"),
        ({"kind": "other.toml"}, "line 3, column kind: 'other.toml', but profile home is of strip.toml"),
        ({"profile": "away"}, "line 3, column profile: no line with use = calibrate makes 'away'"),
        ({"profile": "../home"}, "line 3, column profile: '../home' is no name for a file"),
        ({"phone": ""}, "line 3, column phone: is empty"),
        ({"phone": "a"}, "line 3, column phone: 'a' is 'A' in line 2: write it one way"),
        ({"bottle": ""}, "line 3, column bottle: is empty"),
        ({"hard": "a bit"}, "line 3, column hard: 'a bit': write yes or no"),
        ({"temp_c": ""}, "line 3, column temp_c: is empty"),
        ({"truth": "6,3"}, "line 3, column truth: '6,3' is not a number (write a decimal point"),
        ({"truth": "63"}, "line 3, column truth: 63 is not between -1 and 15"),
        ({"truth_sd": ""}, "line 3, column truth_sd: is empty"),
        ({"truth_sd": "0"}, "line 3, column truth_sd: is 0: nothing is known exactly"),
        ({"truth_by": "weighed"}, "line 3, column truth_by: 'weighed': write table or label or meter"),
        ({"meter": ""}, "line 3, column meter: is empty: which meter"),
        ({"truth_by": "table"}, "line 3, column truth: leave truth and truth_sd empty"),
        ({"truth_by": "table", "truth": "", "truth_sd": ""}, "line 3, column liquid: no buffer 'mix' in the table"),
        (MADE | {"truth": "", "truth_sd": "", "temp_c": "99"}, "line 3, column temp_c: the table of phosphate runs"),
        ({"use": "calibrate", "printer": "laser"}, "line 3, column printer: 'laser' for profile home, but 'inkjet'"),
        ({"use": "calibrate", "kind": "b.toml"}, "line 3, column kind: 'b.toml' for profile home, but 'strip.toml'"),
        (TINT | {"use": "calibrate", "meter": ""}, "line 3, column use: calibrate makes profiles of strips only"),
        (TINT | {"path_mm": "", "profile": ""}, "line 3, column path_mm: is empty"),
        (TINT | {"profile": "t.toml"}, "line 3, column profile: no profile, and there is no file"),
        (SOLID | {"profile": "home"}, "line 3, column profile: leave it empty: a solid has no profile"),
    ],
)  # fmt: skip
def test_what_does_not_fit_is_named_with_its_line(tmp_path, change, told):
    folder = write_table(tmp_path, MADE, READ | change)
    with pytest.raises(CallError) as problem:
        read_table(folder)
    assert told in str(problem.value)
    assert "\n" not in str(problem.value)


def test_a_table_of_other_columns_is_told_what_they_are(tmp_path):
    with pytest.raises(CallError, match="begin with a copy of"):
        read_table(tmp_path)
    write_table(tmp_path, MADE | {"fone": "A"}, head=(*COLUMNS, "fone"))
    with pytest.raises(CallError, match="line 1: no column is called fone; columns: photo, use"):
        read_table(tmp_path)
    write_table(tmp_path, {"use": "read"}, head=("photo", "use"))
    with pytest.raises(CallError, match="line 1: no column reading, kind"):
        read_table(tmp_path)


def test_the_same_picture_under_another_name_is_found(tmp_path):
    write_table(tmp_path, MADE, READ)
    shutil.copy(tmp_path / "2.jpg", tmp_path / "3.jpg")
    with pytest.raises(CallError, match=r"line 3, column photo: 3\.jpg is the same picture as 2\.jpg in line 2"):
        read_table(tmp_path)


def test_the_template_fits(tmp_path):
    shutil.copy(TEMPLATE, tmp_path)
    with TEMPLATE.open(encoding="utf-8") as file:
        lines = list(csv.DictReader(file))
    for line in lines:
        (tmp_path / line["photo"]).write_text(line["photo"], encoding="utf-8")
    photos = read_table(tmp_path)
    assert {p.reading for p in photos} == {"ph", "tint", "solid"}
    assert {p.truth_by for p in photos} == {"table", "label", "meter", "weighed", "counted"}
    assert tuple(lines[0]) == COLUMNS


def test_the_paper_s_columns_names_and_plan_are_the_code_s():
    text = PAPER.read_text(encoding="utf-8")
    assert ",".join(COLUMNS) in text
    told = {name.strip() for row in re.findall(r"^\| ([a-z_, ]+) \|.*\|$", text, re.M) for name in row.split(",")}
    assert set(COLUMNS) <= told
    (numbers,) = re.findall(r"<!-- tuned -->(.*)<!-- /tuned -->", text, re.S)
    named = re.findall(r"`(\w+)`", numbers)
    assert len(named) > 40
    assert sorted(set(named)) == sorted(named)
    assert set(named) <= set(entries())
    photos = plan()
    taught = sum(p.cells["use"] == "calibrate" for p in photos)
    assert f"{taught} photos, two profiles" in text
    assert f"{len(photos) - taught} in all" in text
    assert f"about {round(len(photos), -1)} photos" in text


def row(n=0, **changes):
    made = RealRow(
        photo=f"{n}.jpg", reading="ph", kind="four", profile="home", setup=f"{'AB'[n % 2]} x lot 1 x inkjet",
        phone="AB"[n % 2], lamp="tube", bottle="lot 1", printer="inkjet", hard=False, own_phone="the profile's",
        own_bottle="another", own_card="the profile's", liquid="mix", temp_c=21.0, truth=6.3, truth_sd=0.05,
        truth_by="meter", meter="M", status="ok", reasons="", misfit=1.0, read=6.4, low=6.2, high=6.6, pit=0.2,
        lows=(6.3, 6.25, 6.2, 6.1), highs=(6.5, 6.55, 6.6, 6.7), budget=(0.01,) * len(CAUSES),
    )  # fmt: skip
    return replace(made, **changes)


def test_a_reading_is_judged_by_what_it_is():
    assert len(row().lows) == len(LEVELS)
    assert row().covered
    assert row().error == pytest.approx(0.1)
    assert row(truth=5.8).wrong
    assert not row(truth=5.8, status="doubtful").wrong
    assert not row(truth=5.95).wrong  # off by less than 0.5
    tint = {"reading": "tint", "decision": "none seen", "truth": 9.0, "limit": 8.0}
    assert row(**tint).wrong
    assert not row(**tint | {"limit": 10.0}).wrong
    assert not row(**tint | {"decision": "copper"}).wrong
    assert row(**tint | {"decision": "copper", "truth": 0.0}).wrong
    assert not row(**tint | {"decision": "copper", "truth": 0.0, "status": "doubtful"}).wrong
    solid = {"reading": "solid", "read": 0.3, "low": 0.25, "high": 0.35}
    assert row(**solid, truth=0.15).wrong
    assert not row(**solid, truth=0.22).wrong
    assert not row(**solid | {"low": 0.1}, truth=0.15).wrong


def test_the_truth_s_own_doubt_widens_the_interval_in_quadrature():
    """Half widths 0.2 and 1.96 x 0.05 together: 0.2227."""
    assert row(truth=6.180).covered_but_for_truth
    assert not row(truth=6.175).covered_but_for_truth
    assert not row(truth=6.180).covered


def test_the_page_counts_every_photo_once(tmp_path):
    photos = read_table(write_table(tmp_path / "set", MADE, READ, READ | {"phone": "B"}, TINT, SOLID))
    rows = [row(0), row(1, truth=5.8), row(2, status="refused", reasons="blurred", read=float("nan"), hard=True)]
    rows += [row(3, reading="tint", decision="copper", liquid="copper", truth=0.0, read=20.0, low=15.0, high=25.0)]
    rows += [row(4, reading="solid", liquid="grains", truth=0.05, read=0.06, low=0.04, high=0.08)]
    (tmp_path / "out").mkdir()
    write_study(tmp_path / "out", photos, {}, rows, "c0de")
    page = (tmp_path / "out" / "real-photos.md").read_text(encoding="utf-8")
    assert "5 real photos read, 3 of them of strips in 2 setups" in page
    for line in (
        "| phone | A | 1 | 3 |",
        "| meter | M | 0 | 2 |",
        "| phosphate | ph | 6.86 | 0.01 | table | 25 | 1 | 0 |",
        "| confidently wrong | 0 | 1 | no |",
        "| four | good | 2 | 0.0% | 0.0% | 0.350 | 0.350 | 0.595 | 0.600 | 50.0% (1.3% to 98.7%) | 0.40 | 1 |",
        "| four | hard | 1 | 100.0% | 0.0% | - |",
        "| A x lot 1 x inkjet | 2 | 50.0% | 0.0% | 0.100 |",
        "| tube (hard) | 1 | 100.0% |",
        "| refused | blurred | 1 | 1 |",
        "| four | 1.jpg | mix | 5.80 | 6.40 | 6.20 to 6.60 | B x lot 1 x inkjet | tube |",
        "| copper | 0 | 1 | 0 | 0 |",
        "| 001. grains | 1 | 0.0% | 0.0% | 0.010 |",
    ):
        assert line in page
    assert (tmp_path / "out" / "coverage.png").stat().st_size > 10_000
    assert len((tmp_path / "out" / "rows.csv").read_text(encoding="utf-8").splitlines()) == 6
    assert "## What was wanted" not in body(photos, {}, rows[3:], "c0de")


def test_what_cannot_be_done_leaves_nothing_behind(tmp_path):
    folder = write_table(tmp_path / "set", MADE, READ)  # no strip.toml
    ran = CliRunner().invoke(main, [str(folder), "--workers", "1"])
    assert ran.exit_code == 2
    assert ran.output.startswith("real_photos: profile home (lines 2 to 2): ")
    assert ran.output.count("\n") == 1
    assert sorted(p.name for p in folder.iterdir()) == ["2.jpg", "3.jpg", TABLE]
    (folder / "study").mkdir()
    (folder / "study" / "own.txt").write_text("mine", encoding="utf-8")
    with pytest.raises(CallError, match="was not written by this command"):
        study(folder, folder / "study", 1)
    with pytest.raises(CallError, match="no line has use = read"):
        study(write_table(tmp_path / "none", MADE), tmp_path / "out", 1)
    assert not (tmp_path / "out").exists()


def demo_set(folder):
    """The demo's photos: a profile that is there, a wash, one out of focus, a tint, a solid."""
    lines = [READ | {"profile": "profile.toml", "truth": "3.4"}, READ | {"profile": "profile.toml", "truth": "2.6"}]
    write_table(folder, *lines, TINT | {"truth": "60"}, SOLID | {"truth": "0.053"})
    photos = ("photos/05-wash-04", "photos/03-wash-03-blurred", "windows/tint-1-first-wash", "windows/solid-2-later")
    for n, name in enumerate(photos, 2):
        shutil.copy(DEMO / f"{name}.jpg", folder / f"{n}.jpg")
    shutil.copy(DEMO / "profile.toml", folder)
    return folder


def test_photos_are_read_as_their_user_would(tmp_path):
    folder = demo_set(tmp_path / "set")
    photos = read_table(folder)
    wash, blurred, tint, solid = judge(photos, make_profiles(photos), 1)
    assert (wash.status, wash.covered, wash.kind, wash.own_phone) == ("ok", True, "four-pad 0-14", "")
    assert abs(wash.error) < 0.2
    assert wash.lows[2] < wash.truth < wash.highs[2]
    assert 0.025 < wash.pit < 0.975
    assert (blurred.status, blurred.answered, blurred.reasons) == ("refused", False, "blurred")
    assert (tint.decision, tint.covered) == ("copper", True)
    assert 0.0 < tint.limit < 60.0
    assert solid.covered
    assert solid.read == pytest.approx(0.053, abs=0.02)


def test_a_new_study_takes_the_place_of_the_old_one(tmp_path):
    folder = demo_set(tmp_path / "set")
    (folder / "3.jpg").unlink()
    lines = (folder / TABLE).read_text(encoding="utf-8").splitlines(keepends=True)
    (folder / TABLE).write_text("".join(lines[:2]), encoding="utf-8")
    page = study(folder, folder / "study", 1)
    page.write_text("old", encoding="utf-8")
    (folder / "study" / "old.txt").write_text("old", encoding="utf-8")
    assert study(folder, folder / "study", 1) == page
    assert "1 real photos read" in page.read_text(encoding="utf-8")
    assert sorted(p.name for p in page.parent.iterdir()) == ["coverage.png", "profiles", "real-photos.md", "rows.csv"]
    assert not [p for p in folder.iterdir() if p.name.startswith(".study")]


def test_a_set_is_calibrated_and_read(tmp_path):
    """Six liquids on one card by one phone under one lamp; two photos to read, of its bottle and of another."""
    photos = [p for p in plan((), ASKED[1:2]) if p.cells["printer"] == "laser"]
    taught = [p for p in photos if p.cells["use"] == "calibrate" and p.cells["lamp"] == "window"]
    asked = [p for p in photos if p.cells["use"] == "read" and p.cells["phone"] == "phone B"][:4:3]
    folder = tmp_path / "set"
    write_set(folder, [*taught, *asked], 800)
    page = study(folder, tmp_path / "out", 1).read_text(encoding="utf-8")
    assert "| laser | four-pad 0-14 | laser | lot 1 | phone A | window | 6 | 6 | 0 |" in page
    with (tmp_path / "out" / "rows.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    assert [(r["own_phone"], r["own_bottle"], r["own_card"]) for r in rows] == [
        ("another", "the profile's", "the profile's"),
        ("another", "another", "the profile's"),
    ]
    assert all(abs(float(r["read"]) - float(r["truth"])) < 1.0 for r in rows)
    learned = load_profile(tmp_path / "out" / "profiles" / "laser.toml")
    assert [photo.ph_sd for photo in learned.photos] == pytest.approx([0.01] * 4 + [0.02] * 2)
