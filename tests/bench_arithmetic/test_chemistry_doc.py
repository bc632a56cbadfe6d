"""docs/chemistry.md: its commands are run, its tables worked out again."""

from __future__ import annotations

import re
import shlex
from pathlib import Path

import pytest

from service.bench.chemistry.lye import chloride_over_hydroxide
from service.bench.chemistry.silver import chloride_solubility
from service.cli import main

TEXT = (Path(__file__).parents[2] / "docs" / "chemistry.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"^    \$ stripread (.+)\n((?:    (?!\$).+\n)+)", TEXT, re.MULTILINE)


@pytest.mark.parametrize(
    ("call", "shown"), EXAMPLES, ids=[" ".join(e[0].split()[:2]) + f" {i}" for i, e in enumerate(EXAMPLES)]
)
def test_an_example_says_what_the_page_says(capsys, call, shown):
    with pytest.raises(SystemExit) as stop:
        main(shlex.split(call))
    assert stop.value.code == 0
    said = capsys.readouterr().out
    for line in shown.splitlines():
        assert line.strip() in said


def test_the_page_has_examples():
    assert len(EXAMPLES) >= 5


def test_the_solubility_table():
    rows = re.findall(
        r"^\| (water|[\d.]+ mol/L HCl), (\d+) °C \| ([\d.]+) \| ([\d.]+) to ([\d.]+) \|$", TEXT, re.MULTILINE
    )
    assert len(rows) >= 7
    for liquid, temp, value, low, high in rows:
        acid = 0.0 if liquid == "water" else float(liquid.split()[0])
        found = chloride_solubility(acid, float(temp))
        for printed, now in ((value, found.mg_l), (low, found.low), (high, found.high)):
            assert float(printed) == pytest.approx(now, rel=0.05)


def test_the_lye_table():
    temps = [float(t) for t in re.search(r"\| °C \| (.+) \|", TEXT)[1].split(" | ")]
    values = [float(v) for v in re.search(r"\| in 1 mol/L lye \| (.+) \|", TEXT)[1].split(" | ")]
    for temp, value in zip(temps, values, strict=True):
        assert value == pytest.approx(chloride_over_hydroxide(temp, 1.0)[1], rel=0.06)
