"""How often a gate opens wrongly, and how often a right batch is held: ``python -m tests.slips_study``.

A batch is the true chemistry of PHREEQC's rows (tests/data/wash_dilution.csv; copper scaled, for it follows the share
left; the ammonia test by tests/data/ammonia_test.csv), read with honest noise, and one slip of the person at the bench.
Each wash the gate of its stage is judged as the log judges it; where it opens, the truth is looked up:

copper: what stays with the solid, dissolved or fallen as carbonate in hard water, is at most 20 ppm of the metal;
neutral: the true pH lies inside the band, or within 1 of the rinse water's own, as the gate promises.

``--write FILE`` puts the table between its marks in FILE.
"""

from __future__ import annotations

import argparse
import csv
import math
from collections import Counter, defaultdict
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cache
from pathlib import Path

import numpy as np

from service.bench.notes import Note, checked
from service.bench.procedure import load_procedure
from service.bench.readings import Observation, logged
from service.bench.state import state_of

DATA = Path(__file__).parent / "data"
MOST_PPM, BAND, NEAR = 20.0, (6.0, 8.0), 1.0  # of the shipped procedure, and of the gate's promise
EDGE = 0.05  # pH: nearer to an edge than this is no mistake
HARD = {"water": "tap", "alkalinity_mmol_l": 4.0}
WASHES = 12  # rows of the table
SLIPS = (
    "none",
    "wrong wash number",
    "another liquid on a strip",
    "late photo, phone's clock",
    "late photo, no clock",
    "numbers swapped",
    "weight or vessel missing",
    "weight ten times off",
    "too little ammonia",
    "ammonia or dilution not told",
    "one vial tested twice",
    "rinse water's strip in a wash",
    "a strip 2 pH off",
    "hard water, not named",
)
MARKS = ("<!-- slips -->", "<!-- /slips -->")


@cache
def _rows() -> dict[tuple[str, str, float], list[tuple[float, float]]]:
    """(water, reading, share held back) -> (pH, copper mg/L) after each wash."""
    found = defaultdict(list)
    with (DATA / "wash_dilution.csv").open() as f:
        for row in csv.DictReader(f):
            key = (row["water"], row["reading"], float(row["retained_ratio"]))
            found[key].append((float(row["ph"]), float(row["copper_mg_per_l"])))
    return dict(found)


@cache
def _ammonia() -> dict[float, list[tuple[int, float, float, float]]]:
    """Acid, mol/L -> (drops, pH, share dissolved, share as blue ammine)."""
    found = defaultdict(list)
    with (DATA / "ammonia_test.csv").open() as f:
        for row in csv.DictReader(f):
            values = (row["ph"], row["share_of_copper_dissolved"], row["share_as_tetraammine"])
            found[float(row["hcl_mol_per_l"])].append((int(row["drops"]), *(float(v) for v in values)))
    return dict(found)


@dataclass
class Batch:
    """One batch: truth, what is noted, what was seen so far."""

    rng: np.random.Generator
    slip: str
    hard: bool
    named: dict[str, object]
    acid_side: list[tuple[float, float]]  # (pH, copper mg/L) after each wash of the first stage
    neutral_side: list[float]  # pH of each wash of the second stage
    own: float  # the rinse water's pH
    silver_g: float
    retained_l: float
    notes: list[Note] = field(default_factory=list)
    seen: list[tuple[float, Observation]] = field(default_factory=list)  # (arrival in hours, observation)
    number: int = 0

    def write(self, kind: str, at: float, **data: object) -> None:
        """Note something down."""
        self.notes.append(Note(checked(kind, data), _time(at), len(self.notes) + 1))

    def add(self, at: float, reading: dict, wash: int | None, arrives: float | None = None, **more) -> None:
        """Log a reading taken at ``at`` hours; without the phone's clock it counts as taken when it arrives."""
        self.number += 1
        taken = at if more.pop("clock", True) or arrives is None else arrives
        seen = Observation(_time(taken), logged(reading), wash, strip_range=(0.0, 14.0), entry=self.number, **more)
        self.seen.append((at if arrives is None else arrives, seen))

    def gate(self, now: float) -> tuple[str, str]:
        """State and sentence of the gate as the log stands at ``now`` hours."""
        seen = [o for arrival, o in self.seen if arrival <= now]
        found = state_of(self.notes, seen, self.named.get("alkalinity_mmol_l"), self.named.get("water"))
        return found.verdict.state, found.verdict.sentence


def _time(hours: float) -> str:
    minutes = round(hours * 60)
    return f"2026-03-{1 + minutes // 1440:02d}T{minutes // 60 % 24:02d}:{minutes % 60:02d}:00"


def draw(rng: np.random.Generator, slip: str) -> Batch:
    """A batch with its truth; nothing read yet."""
    share = float(rng.choice([0.05, 0.1, 0.2, 0.3]))
    hard = slip == "hard water, not named" or rng.random() < 0.3
    reading = str(rng.choice(["open", "closed"]))
    copper = 10.0 ** rng.uniform(-1.0, 0.5)
    names = sorted({key[0] for key in _rows()})
    tap = next(name for name in names if "tap" in name or "hard" in name)
    water = str(rng.choice([name for name in names if name != tap]))
    soft = _rows()[water, reading, share]
    tapped = _rows()[tap, reading, share]
    if slip == "hard water, not named":
        first, second = tapped, [ph for ph, _ in tapped]
    elif hard:  # slightly acid water until copper is gone, hard water after it
        first, second = [(min(ph, 3.0), cu) for ph, cu in soft], [ph for ph, _ in tapped]
    else:
        first, second = soft, [ph for ph, _ in soft]
    named: dict[str, object] = HARD if hard else {"water": "air" if "air" in water else "pure"}
    if slip == "hard water, not named" or rng.random() < 0.15:
        named = {"water": "unknown"}
    own = (tapped if hard else soft)[-1][0]
    scaled = [(ph, cu * copper) for ph, cu in first]
    silver = float(rng.uniform(100.0, 800.0))
    return Batch(rng, slip, hard, named, scaled, second, own, silver, float(rng.uniform(0.05, 0.3)))


def strip(rng: np.random.Generator, true: float) -> dict[str, object]:
    """A strip of this pH, with the error that its interval says, and dye and paper's own in weak water."""
    sd = float(rng.choice([0.08, 0.12, 0.2, 0.3]))
    bias = rng.normal(0.0, 0.15) if 4.0 < true < 10.0 else 0.0
    ph = float(np.clip(true + bias + rng.normal(0.0, sd), 0.0, 14.0))
    half = 1.96 * math.hypot(sd * rng.uniform(0.9, 1.25), 0.15 if bias else 0.0)
    return {"kind": "ph", "ph": round(ph, 2), "interval": [round(ph - half, 2), round(ph + half, 2)]}


def tint(batch: Batch, true_ph: float, copper: float) -> dict[str, object]:
    """A copper test of a wash: blue by the table's share, drops as many as the person adds."""
    rng = batch.rng
    acid = min(_ammonia(), key=lambda a: abs(math.log10(max(a, 1e-7)) + true_ph) if a else abs(true_ph - 7.0) + 1.0)
    rows = _ammonia()[acid]
    enough = [row for row in rows if row[1] >= 9.6 and row[2] > 0.95]
    short = [row for row in rows if row not in enough]
    drops, ph, dissolved, blue = enough[0] if batch.slip != "too little ammonia" or not short else short[-1]
    dilution = (3.0 + 0.05 * drops) / 3.0
    flakes = dissolved < 0.9 and copper > 3.0 and rng.random() < 0.9
    limit = float(rng.uniform(2.0, 10.0))  # in the drop
    measured = copper * blue / dilution + rng.normal(0.0, limit / 3.3)
    taken: dict[str, object] = {
        "wash": "acid" if true_ph < 4.5 else "neutral",
        "ammonia_ph": round(ph + float(rng.normal(0.0, 0.1)), 1),
        "flakes": "yes" if flakes else "no",
        "dilution": round(dilution, 3),
    }
    if batch.slip == "ammonia or dilution not told":
        taken |= {str(rng.choice(["ammonia_ph", "flakes", "dilution"])): None}
        taken = {key: value for key, value in taken.items() if value is not None}
    high = max(0.0, measured + 1.96 * limit / 3.3)
    return {
        "kind": "tint",
        "decision": "copper" if measured > limit / 2.0 else "none seen",
        "detection_limit": limit * dilution,
        "interval": [0.0, high * dilution],
        "taken": taken,
    }


def _wrong_number(rng: np.random.Generator, wash: int) -> int:
    """A number as it is mistyped: a digit too many, one beside it, or the one before again."""
    return int(rng.choice([10 + wash, 10 * wash, wash - 1, wash + 1, wash + 3, max(0, wash - 3)]))


def _another(batch: Batch, wash: int) -> float:
    """The pH of what the strip was dipped in instead."""
    return float(batch.rng.choice([13.0, 0.3, batch.own, batch.acid_side[max(0, wash - 2)][0]]))


def play(batch: Batch) -> Counter[str]:
    """Wash, read and judge until both gates are open or the table ends; what each gate came to."""
    rng, found = batch.rng, Counter()
    _begin(batch)
    early = rng.random() < 0.5
    bad = int(rng.integers(2, 7)) if early else 0  # the wash of the slip; 0: in the second stage
    stage, since = "copper", 0
    for wash in range(1, 2 * WASHES):
        place = min(wash if stage == "copper" else max(wash, _after(batch, since) + wash - since), WASHES)
        true_ph = batch.acid_side[place][0] if stage == "copper" else batch.neutral_side[place]
        copper = batch.acid_side[min(wash, WASHES)][1]
        at = 1.0 + wash
        _read(batch, wash, (true_ph, copper), at, slipped=wash == bad, stage=stage)
        found[f"{stage}: washes"] += 1
        state, sentence = batch.gate(at + 0.4)
        if state != "open" and (again := _asked(batch, sentence, wash, true_ph, at)):
            found[again] += 1
            state, _ = batch.gate(at + 0.5)
        if state != "open":
            continue
        right = _copper_gone(batch, wash) if stage == "copper" else _neutral(batch, true_ph)
        found[f"{stage}: open, {'right' if right else 'wrong'}"] += 1
        if stage == "neutral":
            break
        batch.write("move", at + 0.6, to="neutral-wash", state="open", sentence="x")
        stage, since = "neutral", wash
        bad = bad if early else wash + int(rng.integers(1, 4))
    return found


def _asked(batch: Batch, sentence: str, wash: int, true_ph: float, at: float) -> str:
    """Do the one thing that the gate asks for, where it is another strip; what was done."""
    if "inse water" in sentence and not any(o.blank for _, o in batch.seen):
        batch.add(at + 0.45, strip(batch.rng, batch.own), None, blank=True)
        return "read the rinse water"
    if any(words in sentence for words in ("is a leap", "once more", "look twice", "uncertain to compare")):
        batch.add(at + 0.45, strip(batch.rng, true_ph), wash)
        return "read again"
    return ""


def _after(batch: Batch, since: int) -> int:
    """The row of the second water that the first one's acid stands at when they change."""
    return min(since, 3) if batch.hard and batch.slip != "hard water, not named" else since


def _begin(batch: Batch) -> None:
    batch.write("procedure", 0.0, text=load_procedure("chloride_lye_sugar").text)
    missing = str(batch.rng.choice(["weight", "vessel"])) if batch.slip == "weight or vessel missing" else ""
    off = float(batch.rng.choice([0.1, 10.0])) if batch.slip == "weight ten times off" else 1.0
    if missing != "weight":
        batch.write("weight", 0.1, of="chloride", grams=batch.silver_g / 0.75265 * off, moisture=[0.0, 0.0])
    if missing != "vessel":
        batch.write("vessel", 0.2, retained_l=batch.retained_l)
    if batch.rng.random() < 0.7:
        batch.add(0.5, strip(batch.rng, batch.own), None, blank=True)


def _read(batch: Batch, wash: int, true: tuple[float, float], at: float, *, slipped: bool, stage: str) -> None:
    """The strip of a wash, and in the first stage its copper test; with the slip where it happens."""
    true_ph, copper = true
    rng, number, dipped, arrives, clock = batch.rng, wash, true_ph, None, True
    if slipped and batch.slip == "wrong wash number":
        number = _wrong_number(rng, wash)
    if slipped and batch.slip == "numbers swapped" and batch.seen:
        arrival, before = batch.seen[-1]
        if before.wash is not None:
            batch.seen[-1] = (arrival, replace(before, wash=wash))
            number = before.wash
    if slipped and batch.slip == "another liquid on a strip":
        dipped = _another(batch, wash)
    if slipped and batch.slip == "rinse water's strip in a wash":
        dipped = batch.own
    if slipped and batch.slip == "a strip 2 pH off":
        dipped = true_ph + float(rng.choice([-2.0, 2.0]))
    if slipped and batch.slip.startswith("late photo"):
        arrives, clock = at + float(rng.integers(1, 4)) - 0.2, True
        clock = batch.slip.endswith("phone's clock")
    batch.add(at, strip(rng, dipped), number, arrives, clock=clock)
    if stage != "copper":
        return
    same = slipped and batch.slip == "one vial tested twice"
    batch.add(at + 0.2, tint(batch, true_ph, copper), number, arrives, clock=clock)
    if same:
        batch.add(at + 0.22, tint(batch, true_ph, copper), number)


def _copper_gone(batch: Batch, wash: int) -> bool:
    """Whether what stays in the liquid and in the solid is little enough."""
    left = batch.acid_side[min(wash, WASHES)][1]
    if batch.hard and batch.slip == "hard water, not named":
        falls = next((n for n, (ph, _) in enumerate(batch.acid_side) if ph > 5.2), WASHES)
        left = max(left, batch.acid_side[falls][1]) if wash >= falls else left
    return left * batch.retained_l / (batch.silver_g / 1000.0) <= MOST_PPM


def _neutral(batch: Batch, ph: float) -> bool:
    return BAND[0] - EDGE <= ph <= BAND[1] + EDGE or abs(ph - batch.own) <= NEAR + EDGE


def study(count: int, seed: int = 12) -> dict[str, dict[str, float]]:
    """Figures by slip: batches, gates opened wrongly of all gates that came up, held: of those gates, never opened."""
    rng = np.random.default_rng(seed)
    totals: dict[str, Counter[str]] = defaultdict(Counter)
    for n in range(count):
        slip = SLIPS[n % len(SLIPS)]
        found = play(draw(rng, slip))
        total = totals[slip]
        total["batches"] += 1
        for gate in ("copper", "neutral"):
            if found[f"{gate}: washes"]:
                wrong, right = found[f"{gate}: open, wrong"], found[f"{gate}: open, right"]
                total[f"{gate} gates"] += 1
                total[f"{gate} wrong"] += wrong
                total[f"{gate} held"] += not (wrong or right)
    return {slip: _shares(totals[slip]) for slip in SLIPS if totals[slip]}


def _shares(total: Counter[str]) -> dict[str, float]:
    found: dict[str, float] = {"batches": total["batches"]}
    for gate in ("copper", "neutral"):
        gates = max(1, total[f"{gate} gates"])
        found[f"{gate} wrong"] = total[f"{gate} wrong"] / gates
        found[f"{gate} held"] = total[f"{gate} held"] / gates
    gates = total["copper gates"] + total["neutral gates"]
    found["wrong"] = (total["copper wrong"] + total["neutral wrong"]) / max(1, gates)
    return found


def table(figures: dict[str, dict[str, float]]) -> str:
    """The figures as a table of the documents."""
    lines = ["| slip | batches | copper gate opens wrongly | never opens | neutral gate opens wrongly | never opens |"]
    lines.append("|---|---|---|---|---|---|")
    for slip, row in figures.items():
        names = [f"{gate} {what}" for gate in ("copper", "neutral") for what in ("wrong", "held")]
        shares = [f"{100 * row[name]:.1f} %" for name in names]
        lines.append(f"| {slip} | {row['batches']:.0f} | {' | '.join(shares)} |")
    return "\n".join(lines)


def run_and_write(name: str, marks: tuple[str, str], seed: int, made: Callable[[int, int], str]) -> None:
    """The command ``python -m tests.NAME``: print the table that ``made`` makes, write it where it is asked for."""
    parser = argparse.ArgumentParser(description="Gates under slips, on simulated batches.")
    parser.add_argument("--batches", type=int, default=10_000)
    parser.add_argument("--seed", type=int, default=seed)
    parser.add_argument("--write", type=Path, help="A document with the marks.")
    o = parser.parse_args()
    text = f"`python -m tests.{name} --batches {o.batches} --seed {o.seed}`:\n\n{made(o.batches, o.seed)}"
    print(text)
    if o.write:
        before, _, rest = o.write.read_text(encoding="utf-8").partition(marks[0])
        after = rest.partition(marks[1])[2]
        o.write.write_text(f"{before}{marks[0]}\n{text}\n{marks[1]}{after}", encoding="utf-8")


if __name__ == "__main__":
    run_and_write("slips_study", MARKS, 12, lambda batches, seed: table(study(batches, seed)))
