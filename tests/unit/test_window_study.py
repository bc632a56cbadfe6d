"""The study that judges tints and solids must itself be right: its file, order and counts, what it switches off."""

from dataclasses import replace

import numpy as np
import pytest
from click.testing import CliRunner

from tests.coverage_rows import write_rows
from tests.scenes.develop import _lacking
from tests.scenes.phone import phone
from tests.window_study import __main__ as study
from tests.window_study import tables
from tests.window_study.causes import told
from tests.window_study.rows import Row, fingerprint, read_rows

PLAIN = Row(
    "c", "judging", "pairs", 1, "none", "nothing", 0.0, 10.0, "ok", "none seen", "none", "", 0.1, 0.0, 2.0, 5.0, 1e-3
)


def test_rows_come_back_as_they_were_written(tmp_path):
    rows = [PLAIN, replace(PLAIN, low=float("nan"), number=2, reasons="near_limit cloudy")]
    write_rows(tmp_path / "rows.csv", rows, anew=True, of=Row)
    back = read_rows(tmp_path / "rows.csv")
    assert back[0] == PLAIN
    assert (back[1].answered, back[1].reasons) == (False, "near_limit cloudy")
    assert read_rows(tmp_path / "none.csv") == []


def test_every_beginning_of_the_plan_is_a_fair_sample():
    jobs = study.plan(study.PARTS, 100, None)
    assert len(set(jobs)) == len(jobs) == 240 + 160 + 6 + 5 * 64
    half = jobs[: len(jobs) // 2]
    for part, many in (("pairs", 240), ("veils", 160), ("three", 64)):
        assert sum(name == part for name, _ in half) == pytest.approx(many / 2, abs=2)
    assert min(number for _, number in jobs) == 100


def test_a_second_run_goes_on_and_forgets_rows_of_other_code(tmp_path, monkeypatch):
    read = []
    monkeypatch.setattr(study, "case", lambda code, part, number, world: read.append(number) or [
        replace(PLAIN, code=code, part=part, number=number, world=world)])  # fmt: skip
    path = tmp_path / "rows.csv"
    write_rows(path, [replace(PLAIN, part="veils", number=5)], anew=True, of=Row)  # of code "c"
    study.run(("veils",), 5, 2, "judging", path)
    study.run(("veils",), 5, 3, "judging", path)
    assert read == [5, 6, 7]
    study.run(("veils",), 5, 9, "judging", tmp_path / "few.csv", most=2)
    assert read[3:] == [5, 6]
    assert {r.code for r in read_rows(path)} == {fingerprint("tint")}
    assert fingerprint("tint") != fingerprint("solid")
    told = CliRunner().invoke(study.main, ["--from", str(path), "--world", "judging"])
    assert told.exit_code == 0
    assert "veils: 3 readings, 0 refused" in told.output
    assert CliRunner().invoke(study.main, []).exit_code == 2


def test_the_counts_are_those_of_the_rows():
    blue = replace(PLAIN, decision="copper", low=1.0, number=2)
    lines = tables.pairs([PLAIN, blue]).splitlines()
    assert lines[2].startswith("| read alone | 1 of 2 (50.0 %) | 1 of 2 (50.0 %) | 5.0 / - / - | - | 1 of 2 (50.0 %)")
    heap = replace(PLAIN, part="solid", truth=0.05, read=0.07, low=0.06, high=0.08)
    rows = [heap, replace(heap, low=0.0), replace(heap, status="doubtful", reasons="no_solid")]
    assert "| solid | 3 | 2 | 1 | 0 | 1 | 1 of 3 (33.3 %) | 1 of 2 (50.0 %) |" in tables.heaps(rows)
    assert "| 0.01 to 0.1 | 0.0200 | 1 of 2 (50.0 %) | 0.0200 | 1 of 3 (33.3 %) |" in tables.bands(rows)
    haze = [replace(PLAIN, part="veils", name="hazy sample"), replace(blue, part="veils", name="hazy sample")]
    assert "| hazy sample | 1 of 2 (50.0 %) | 0 of 2 (0.0 %) | 1 of 2 (50.0 %) | 1 of 2 (50.0 %) |" in tables.veils(
        haze
    )
    lab = [replace(PLAIN, part="standards", how="own phone, none", truth=2.0, read=1.0, low=0.5, high=2.5)]
    assert "| own phone, none | 1 of 1 (100.0 %) | 100% to 100% | 50% | 100% |" in tables.standards(lab)
    assert told(np.array([[1e-3, 2e-3]]), np.array([[2e-3, 2e-3]])) == ("1.0 (+75 %)", "2.0 (+0 %)")


def test_a_cause_is_switched_off():
    eye = phone(3, "choosing")
    assert _lacking(eye, frozenset()) is eye
    assert _lacking(eye, frozenset({"vignetting"})).vignetting == 0.0 < eye.vignetting
    assert _lacking(eye, frozenset({"local tone"})).processing.local == 0.0
