"""The pH gate after the lye, under slips: ``python -m tests.slips_lye``.

As ``tests.slips_study`` for the washes that take the lye out: the pH by PHREEQC (tests/data/lye_wash_chalk.csv, with
and without chalk; other shares held back by their place in it, linear between its washes), oxide left unreduced holds
the washes at tests/data/stall.csv's pH, and a rinse with dilute acid starts a washing of its own
(tests/data/wash_dilution.csv from pH 2.3 on). Where the gate opens, the true pH lies inside the band of the lye's stage
or within 1 of the rinse water's own, or it opened wrongly; over unreduced oxide it never may. It is the gate of the
procedure before the acid rinse had stages of its own: the pH by itself, without a picture of the powder.

``--write FILE`` puts the table between its marks in FILE.
"""

from __future__ import annotations

import csv
from collections import Counter, defaultdict
from functools import cache

import numpy as np

from service.bench.procedure import earlier_procedure
from tests import slips_study
from tests.slips_study import DATA, EDGE, NEAR, Batch, strip

BAND = (6.0, 8.5)  # of the shipped procedure's last washing
OXIDE = {"oxide left, kept from air": 10.14, "oxide left, in air": 8.74}  # pH, tests/data/stall.csv
SHARES = {0.05: 1.3, 0.1: 1.0, 0.2: 0.7, 0.3: 0.52}  # held back -> decades a wash
WASHES = 14
RINSE_FROM = 2.3  # pH of the acid rinse
SLIPS = (
    "none",
    "acid rinse, noted",
    "acid rinse, not noted",
    *OXIDE,
    "wrong wash number",
    "another liquid on a strip",
    "late photo, phone's clock",
    "late photo, no clock",
    "numbers swapped",
    "rinse water's strip in a wash",
    "a strip 2 pH off",
    "hard water, not named",
)
RIGHT = SLIPS[:2]
MARKS = ("<!-- slips-lye -->", "<!-- /slips-lye -->")


@cache
def _rows() -> dict[tuple[float, str], list[float]]:
    """(alkalinity mmol/L, with chalk or without) -> pH after each wash, on to the water's own."""
    found = defaultdict(list)
    with (DATA / "lye_wash_chalk.csv").open() as f:
        for row in csv.DictReader(f):
            found[float(row["alkalinity_mmol_per_l"]), row["how"]].append(float(row["ph"]))
    return {key: [*phs, 7.7, 7.1, 7.0] if key[0] == 0.0 else phs for key, phs in found.items()}


def draw(rng: np.random.Generator, slip: str) -> Batch:
    """A batch with the true pH of its washes after the lye; nothing read yet."""
    alkalinity = float(rng.choice([0.0, 1.0, 2.0, 4.0])) if slip != "hard water, not named" else 4.0
    how = str(rng.choice(sorted({key[1] for key in _rows()})))
    table = _rows()[alkalinity, how]
    places = SHARES[float(rng.choice(list(SHARES)))] * np.arange(WASHES + 1)
    course = [float(ph) for ph in np.interp(places, np.arange(len(table)), table)]
    course = [max(ph, OXIDE.get(slip, 0.0)) for ph in course]
    named: dict[str, object] = {"water": "tap", "alkalinity_mmol_l": alkalinity} if alkalinity else {"water": "pure"}
    if slip == "hard water, not named" or rng.random() < 0.15:
        named = {"water": "unknown"}
    own = _rows()[alkalinity, "no chalk falls"][-1]
    return Batch(rng, slip, alkalinity >= 1.0, named, [(ph, 0.0) for ph in course], course, own, 300.0, 0.1)


def play(batch: Batch) -> str:
    """Wash, read and judge until the gate opens; "right", "wrong" or "held"."""
    batch.write("procedure", 0.0, text=earlier_procedure("chloride_lye_sugar_1").text)
    batch.write("move", 0.1, to="lye-wash", state="open", sentence="x")
    if batch.rng.random() < 0.7:
        batch.add(0.5, strip(batch.rng, batch.own), None, blank=True)
    clean = next((n for n, ph in enumerate(batch.neutral_side) if _neutral(batch, ph)), WASHES)
    rinsed = batch.slip.startswith("acid rinse")
    course = batch.neutral_side[: clean + 1] + _acid(batch) if rinsed else batch.neutral_side
    bad = int(batch.rng.integers(1, 7))
    for wash, true_ph in enumerate(course[1:], 1):
        at = 1.0 + wash
        if rinsed and wash == clean + 1 and batch.slip.endswith(", noted"):
            batch.write("acid_rinse", at - 0.1, acid_mol=0.005, oxide_silver_g=0.0)
        slips_study._read(batch, wash, (true_ph, 0.0), at, slipped=wash == bad, stage="neutral")
        state, sentence = batch.gate(at + 0.4)
        if state != "open" and slips_study._asked(batch, sentence, wash, true_ph, at):
            state, _ = batch.gate(at + 0.5)
        if state == "open" and (not rinsed or wash > clean or not _neutral(batch, true_ph)):
            return "right" if _neutral(batch, true_ph) else "wrong"
    return "held"


def _acid(batch: Batch) -> list[float]:
    """The pH of the acid rinse and of the washes after it."""
    names = sorted({key[0] for key in slips_study._rows()})
    tap = next(name for name in names if "tap" in name or "hard" in name)
    soft = next(name for name in names if name != tap and "air" not in name)
    rows = [ph for ph, _ in slips_study._rows()[tap if batch.own > 7.2 and batch.named.get("alkalinity_mmol_l") == 4.0
                                                else soft, "closed", 0.1]]  # fmt: skip
    return [ph for ph in rows if ph >= RINSE_FROM]


def _neutral(batch: Batch, ph: float) -> bool:
    inside = BAND[0] - EDGE <= ph <= BAND[1] + EDGE or abs(ph - batch.own) <= NEAR + EDGE
    return inside and batch.slip not in OXIDE


def study(count: int, seed: int = 13) -> dict[str, dict[str, float]]:
    """Shares by slip: batches, gates opened wrongly, gates never opened."""
    rng = np.random.default_rng(seed)
    totals: dict[str, Counter[str]] = defaultdict(Counter)
    for n in range(count):
        slip = SLIPS[n % len(SLIPS)]
        totals[slip][play(draw(rng, slip))] += 1
    found = {}
    for slip in SLIPS:
        batches = sum(totals[slip].values())
        if batches:
            shares = {what: totals[slip][what] / batches for what in ("wrong", "held")}
            found[slip] = {"batches": batches, **shares}
    return found


def table(figures: dict[str, dict[str, float]]) -> str:
    """The figures as a table of the documents."""
    lines = ["| slip after the lye | batches | pH gate opens wrongly | never opens |", "|---|---|---|---|"]
    for slip, row in figures.items():
        lines.append(f"| {slip} | {row['batches']:.0f} | {100 * row['wrong']:.1f} % | {100 * row['held']:.1f} % |")
    return "\n".join(lines)


if __name__ == "__main__":
    slips_study.run_and_write("slips_lye", MARKS, 13, lambda batches, seed: table(study(batches, seed)))
