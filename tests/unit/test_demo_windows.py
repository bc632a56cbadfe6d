"""The shipped photos of vials and of a solid, read and told as `stripread demo` does it."""

import csv
from pathlib import Path

import pytest

from service.commands.demo import DEMO, DEPTH_MM
from service.terminal.demo_table import windows_table
from stripread.reasons import because
from stripread.solid.read import read_solid
from stripread.tint.read import TintRequest, read_tint
from stripread.tint.verdicts import CAUTIONS

WINDOWS = DEMO / "windows"


@pytest.fixture(scope="module")
def readings():
    tints = [read_tint(p.read_bytes(), TintRequest(DEPTH_MM), str(p)) for p in sorted(WINDOWS.glob("tint-*.jpg"))]
    solids = [read_solid(p.read_bytes(), str(p)) for p in sorted(WINDOWS.glob("solid-*.jpg"))]
    return [*tints, *solids]


def test_readings_hold_the_truth(readings):
    with (WINDOWS / "truth.csv").open(encoding="utf-8") as file:
        truth = {row["photo"]: row["truth"] for row in csv.DictReader(file)}
    assert set(truth) == {Path(r.stamp.photo).name for r in readings}
    for reading in readings:
        words = truth[Path(reading.stamp.photo).name].split()
        if words[:2] == ["pale", "share"]:
            assert reading.pale_interval[0] <= float(words[2]) <= reading.pale_interval[1]
        elif words[-1] == "mg/L":
            assert (reading.decision, reading.status) == ("copper", "ok")
            assert reading.interval[0] <= float(words[1]) <= reading.interval[1]
        elif words[0] == "no":
            assert (reading.decision, reading.interval[0]) == ("none seen", 0.0)
        else:
            assert reading.status == "doubtful"
            assert reading.decision == ("copper" if words[0] == "copper" else "undecided")


def test_table_has_a_line_for_each_and_the_doubts(readings):
    lines = windows_table(readings).splitlines()
    for reading in readings:
        assert sum(line.startswith(Path(reading.stamp.photo).name) for line in lines) == 1
        for reason in reading.reasons:
            told = reason.severity != "note" or reason.code in CAUTIONS
            assert told == any(reason.message in line for line in lines)
    for code in CAUTIONS:  # once, below the table
        assert sum(because(code).message in line for line in lines) == 1
