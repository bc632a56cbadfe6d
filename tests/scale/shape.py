"""The course of one made-up batch as rows of the log: some 28 entries, as many notes, slips and corrections among them.

Every reading has the size of a real one, and every note passes through ``checked``, the log's only door for notes.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from service.bench.notes import checked
from stripread.json_line import json_line

STAGES = ("acid-wash", "neutral-wash", "lye-sugar", "lye-wash", "dry", "melt")
KIND = 'name = "made up"\n[kind]\nrange = [0, 14]\n'
HANDED_OVER_EVERY = 12  # batches, until somebody writes that the stock vessel was handed over


@dataclass(frozen=True)
class Photo:
    """One photo's entry. ``of`` is the place of the entry that it corrects, among those of its batch."""

    reading: dict[str, Any]
    wash: int | None
    extras: dict[str, Any]
    note: str = ""
    of: int | None = None
    why: str | None = None


@dataclass(frozen=True)
class Written:
    """One note. ``of`` is the place of the note that it is about, among those of its batch."""

    kind: str
    data: dict[str, Any] = field(default_factory=dict)
    of: int | None = None


@dataclass(frozen=True)
class Closed:
    """The batch is closed."""


Step = Photo | Written | Closed


def course(rng: random.Random, *, hand_over: bool, entries: int = 28) -> Iterator[Step]:
    """A batch from its first weight to its end, with about as many ``entries``; ``hand_over`` empties the vessel."""
    yield _written("weight", {"of": "chloride", "grams": round(rng.uniform(80, 900), 1), "moisture": [0.2, 0.5]})
    yield _written("vessel", {"retained_l": round(rng.uniform(0.05, 0.2), 3), "papers": 1, "glasses": 3})
    yield from _stage(STAGES[0])
    yield Photo(_solid(rng.randrange(60)), None, {"path_mm": None, "taking": {}, "colours": []})
    washes = max(1, round((entries - 1) / 2.6))
    taken, written, poured = 1, 3, None
    for wash in range(1, washes + 1):
        ph = min(6.6, 1.0 + 0.75 * wash + rng.gauss(0, 0.15))
        for again in range(2):
            yield Photo(
                _strip(round(ph, 1), refused=rng.random() < 0.03), wash, _extras(), note="" if again else _said(rng)
            )
            taken += 1
        if rng.random() < 0.5:
            yield Photo(_tint(rng.randrange(60)), wash, {"path_mm": 30.0, "taking": {"wash": "acid"}, "colours": []})
            taken += 1
        if rng.random() < 0.06:
            yield Photo(
                _strip(round(ph, 1), refused=False), wash + 1, _extras(), of=taken - 1, why="it was the next wash"
            )
            taken += 1
        litres = round(rng.uniform(0.8, 2.2), 2)
        yield _written("decant", {"name": f"wash {wash}", "litres": litres, "settled_h": 1.5, "looks": "clear"})
        written += 1
        if wash % 3 == 0:
            poured = written
            yield _written(
                "poured",
                {
                    "what": f"washes {wash - 2} to {wash}", "litres": 3 * litres, "ph": round(min(ph, 6.4), 2),
                    "interval": [round(min(ph, 6.4) - 0.3, 2), round(min(ph, 6.4) + 0.3, 2)],
                    "metals": ["silver", "copper"], "contents": ["salt"],
                },
            )  # fmt: skip
            written += 1
    if poured is not None and rng.random() < 0.05:
        yield Written("strike", {"why": "poured back"}, of=poured)
    if hand_over:
        yield _written("emptied", {"what": "to the collection, 40 L"})
    yield from _stage(STAGES[1])
    yield _written("used", {"what": "sodium hydroxide", "grams": 90.0})
    yield from _stage(STAGES[-1])
    yield Closed()


def _written(kind: str, data: dict[str, Any]) -> Written:
    return _checked(kind, json_line(data))


@lru_cache(maxsize=20_000)
def _checked(kind: str, data: str) -> Written:
    """Many batches write the same down: what passed the door once passes it again."""
    return Written(kind, checked(kind, json.loads(data)).fields())


def _stage(name: str) -> Iterator[Step]:
    yield _written("move", {"to": name, "state": "open", "sentence": "What counts opens the gate.", "who": "M."})


def _extras() -> dict[str, Any]:
    return {"path_mm": None, "taking": {}, "colours": [[57.0, 65.1, 23.2]] * 4, "snapped_from": "phone"}


def _said(rng: random.Random) -> str:
    return rng.choice(("", "", "", "cloudy", "the lower beaker", "second strip of the bottle"))


@lru_cache(maxsize=1000)
def _strip(ph: float, *, refused: bool) -> dict[str, Any]:
    """One reading for all strips of a pH: what a log costs does not go by the last digits of its colours."""
    return strip(random.Random(ph), ph, refused=refused)


@lru_cache(maxsize=1000)
def _tint(nth: int) -> dict[str, Any]:
    return tint(random.Random(nth))


@lru_cache(maxsize=1000)
def _solid(nth: int) -> dict[str, Any]:
    return solid(random.Random(nth))


def _near(rng: random.Random, *middle: float) -> list[float]:
    return [round(m + rng.gauss(0, 2), 2) for m in middle]


def strip(rng: random.Random, ph: float, *, refused: bool = False) -> dict[str, Any]:
    """A pH reading's JSON with the fields and the size of a four-pad strip's."""
    reading: dict[str, Any] = {"photo": "snap.jpg", "kind": "ph"}
    if refused:
        reason = {"code": "no_card", "severity": "refuse", "message": "No card is in the photo: lay it beside."}
        reading |= {"status": "refused", "ph": None, "interval": None, "level": 0.95, "alternatives": [], "pads": []}
        reading |= {"misfit": None, "reasons": [reason], "strips": []}
    else:
        value = round(ph, 3)
        pads = [
            {
                "lab": _near(rng, 56.9, 10.1, 23.2), "sd": [2.1, 5.35, 6.72],
                "corners_px": [_near(rng, 506 + 50 * n + x, 446 + y) for x, y in ((0, 0), (40, 8), (35, 46), (-5, 38))],
            }
            for n in range(4)
        ]  # fmt: skip
        names = ("noise", "correction", "tone", "light", "texture", "strip_lot", "calibration", "curve_shape")
        one = {
            "status": "ok", "ph": value, "interval": [round(value - 0.28, 3), round(value + 0.28, 3)],
            "alternatives": [], "pads": pads, "misfit": 0.97,
            "budget": {name: round(rng.uniform(0.0005, 0.008), 6) for name in names}, "reasons": [],
        }  # fmt: skip
        reading |= {"level": 0.95, **one, "strips": [one]}
    return reading | {"waited_s": None, "neutral_ph": None, "profile": "made up", "seconds": 0.156}


def tint(rng: random.Random) -> dict[str, Any]:
    """A tint's JSON."""
    value = round(rng.uniform(0, 3), 2)
    return {
        "photo": "tint.jpg", "kind": "tint", "status": "ok", "decision": "none seen", "absorbance": value / 1000,
        "absorbance_interval": [0.0, 0.004], "delta_e": 0.4, "mg_per_l": value, "interval": [0.0, 4.0],
        "detection_limit": 6.0, "level": 0.95, "reasons": [], "seconds": 0.1,
    }  # fmt: skip


def solid(rng: random.Random) -> dict[str, Any]:
    """A solid's JSON."""
    share = round(rng.uniform(0.002, 0.02), 4)
    return {
        "photo": "solid.jpg", "kind": "solid", "status": "ok", "lab": _near(rng, 30.0, 1.0, 2.0),
        "sd": [0.5, 0.4, 0.4], "pale_fraction": share, "pale_interval": [share / 2, share * 2], "reasons": [],
        "seconds": 0.1,
    }  # fmt: skip
