"""A made-up batch from wet chloride to weighed silver: every number from the models' own chemistry, no real workshop.

It shows what a report looks like, mishaps included: a decant poured off too soon, a step against the gate, a weight
struck out, a reading corrected. Photos are not part of it.
"""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import Any

import numpy as np

from service.bench.chemistry.water import liquid_ph, tap_water
from service.bench.notes import Note, checked
from service.bench.procedure import earlier_procedure
from service.bench.readings import Observation, logged
from service.bench.state import state_of
from service.bench.washing.phases import forecast
from service.bench.washing.reading import Reading
from service.report.batch_record import BatchRecord, RecordedReading
from stripread import __version__
from stripread.words import _

NAME = "Made-up batch: silver from chloride"
ALKALINITY_MMOL_L = 0.6
_ACID, _LYE, _SHARE = 0.8, -2.5, 0.12  # mol/L in the first liquids; what the solid holds back of each filling


def _ph_reading(rng: np.random.Generator, n: int, start: float) -> dict[str, Any]:
    left = _SHARE**n
    true = float(liquid_ph(start * left, left, tap_water(ALKALINITY_MMOL_L / 1000.0), 0.3))
    ph = float(np.clip(true + rng.normal(0.0, 0.08), 0.1, 13.9))
    return {
        "status": "ok",
        "ph": round(ph, 2),
        "interval": [round(ph - 0.2, 2), round(ph + 0.2, 2)],
        "profile": "four-pad",
    }


def _tint(decision: str, mg: float | None) -> dict[str, Any]:
    span = None if mg is None else [round(0.8 * mg, 1), round(1.25 * mg, 1)]
    taken = {"wash": "acid", "ammonia_excess": "yes", "ammonia_ph": 10.0, "flakes": "no", "dilution": 1.2}
    reading = {"status": "ok", "decision": decision, "mg_per_l": mg, "interval": span, "detection_limit": 6.0}
    return {**reading, "taken": taken}


def _rows() -> list[tuple[str, str, int | None, dict[str, Any]]]:
    """(time, kind, wash, reading) in order: acid washes, copper checks, solid, lye washes."""
    rng = np.random.default_rng(7)
    rows: list[tuple[str, str, int | None, dict[str, Any]]] = []
    for n in range(1, 7):
        rows.append((f"2026-03-02T{8 + n:02d}:10:00", "ph", n, _ph_reading(rng, n, _ACID)))
        if n in (1, 2, 3, 4):
            copper = {1: 95.0, 2: 12.0}.get(n)
            rows.append(
                (f"2026-03-02T{8 + n:02d}:20:00", "tint", n, _tint("copper" if copper else "none seen", copper))
            )
    for k, pale in enumerate((0.21, 0.034, 0.004)):
        data = {"status": "ok", "pale_fraction": pale, "pale_interval": [round(0.6 * pale, 4), round(1.6 * pale, 4)]}
        rows.append((f"2026-03-03T{9 + k:02d}:30:00", "solid", None, data))
    for n in range(1, 8):
        rows.append((f"2026-03-03T{12 + n:02d}:10:00", "ph", 6 + n, _ph_reading(rng, n, _LYE)))
    return rows


def readings() -> tuple[RecordedReading, ...]:
    """The readings, the second of them corrected by the last one."""
    made = [
        RecordedReading(
            i, at, logged({**data, "kind": kind, "sha256": hashlib.sha256(f"made up {i}".encode()).hexdigest()}), wash
        )
        for i, (at, kind, wash, data) in enumerate(_rows(), 1)
    ]
    wrong = made[2]
    right = replace(
        wrong, id=len(made) + 1, at="2026-03-02T10:40:00", corrects=wrong.id, why="was noted as wash 3", who="A."
    )
    made[2] = replace(wrong, wash=3, corrected_by=right.id)
    return (*made, right)


def _written() -> list[tuple[str, str, dict[str, Any]]]:
    """(time, kind, fields); a move says only where to, and its reason if it goes against the gate."""
    day1, day2, day3 = "2026-03-02T", "2026-03-03T", "2026-03-04T"
    wet = {"of": "chloride", "scale_g": 0.5, "moisture": [0.25, 0.3]}
    acid = {"what": "acid washes", "litres": 6.0, "ph": 1.1, "interval": [0.8, 1.4], "metals": ["silver", "copper"]}
    lye = {
        "what": "spent lye and its washes",
        "litres": 7.5,
        "ph": 12.2,
        "interval": [11.9, 12.5],
        "metals": ["silver"],
    }
    decants = [
        (
            f"{day1}{8 + n:02d}:30:00",
            "decant",
            {"name": f"wash {n}", "litres": 0.9, "settled_h": 0.2 if n == 3 else 2.0},
        )
        for n in range(1, 7)
    ]
    return [
        (f"{day1}08:00:00", "procedure", {"text": earlier_procedure("chloride_lye_sugar_1").text}),
        (f"{day1}08:05:00", "weight", {**wet, "grams": 41.2}),
        (f"{day1}08:06:00", "weight", {**wet, "grams": 412.0}),
        (f"{day1}08:07:00", "strike", {"note": 2, "why": "a digit left out", "who": "A."}),
        (f"{day1}08:08:00", "vessel", {"retained_l": 0.12, "papers": 1.0, "glasses": 2.0}),
        (f"{day1}08:30:00", "decant", {"name": "first liquid", "litres": 1.5, "chloride": 0.8, "settled_h": 12.0}),
        *decants[:4],
        (f"{day1}12:40:00", "move", {"to": "neutral-wash"}),
        *decants[4:],
        (f"{day1}14:40:00", "move", {"to": "lye-sugar"}),
        (f"{day2}08:30:00", "used", {"what": "lye", "grams": 190.0}),
        (f"{day2}08:40:00", "used", {"what": "glucose", "grams": 210.0}),
        (f"{day2}11:00:00", "move", {"to": "lye-wash", "reason": "all dark by eye; sugar nearly out", "who": "A."}),
        (
            f"{day2}11:20:00",
            "move",
            {"to": "lye-sugar", "reason": "the next picture showed white under the crust", "who": "B."},
        ),
        (f"{day2}12:00:00", "move", {"to": "lye-wash"}),
        (f"{day2}19:30:00", "move", {"to": "dry"}),
        (f"{day2}19:40:00", "poured", acid),
        (f"{day2}19:45:00", "poured", lye),
        (f"{day3}08:00:00", "weight", {"of": "powder", "grams": 222.6, "scale_g": 0.1}),
        (f"{day3}10:30:00", "weight", {"of": "powder", "grams": 222.4, "scale_g": 0.1}),
    ]


def notes(until: int | None = None) -> tuple[Note, ...]:
    """What was written down, the first ``until`` notes; each move with what its gate said at that time."""
    entries = [Observation(r.at, r.reading, r.wash) for r in readings() if r.corrected_by is None]
    made: list[Note] = []
    for i, (at, kind, data) in enumerate(_written()[:until], 1):
        fields = data
        if kind == "move":
            gate = state_of(made, [e for e in entries if e.at < at], ALKALINITY_MMOL_L, "tap").verdict
            fields = {**data, "state": gate.state, "sentence": gate.sentence}
        made.append(Note(checked(kind, fields), at, i))
    return tuple(made)


def demo_batch(name: str = NAME) -> BatchRecord:
    """The whole batch as its report shows it; the forecast is the one that the third acid wash gave."""
    read, noted = readings(), notes()
    entries = [Observation(r.at, r.reading, r.wash) for r in read if r.corrected_by is None]
    acid = [Reading(r.wash, r.reading.ph, r.reading.interval) for r in read
            if r.kind == "ph" and r.corrected_by is None and r.wash is not None and r.wash <= 5]  # fmt: skip
    third = forecast(sorted(acid, key=lambda r: r.wash)[:3], tap_water(ALKALINITY_MMOL_L / 1000.0))
    return BatchRecord(
        1,
        name,
        "2026-03-02T08:00:00",
        "2026-03-04T11:00:00",
        f"stripread {__version__}",
        state_of(list(noted), entries, ALKALINITY_MMOL_L, "tap"),
        read,
        noted,
        f"tap, {ALKALINITY_MMOL_L:g} mmol/L",
        (replace(third, message=_("After wash {last}: {message}", last=3, message=third.message)),),
    )
