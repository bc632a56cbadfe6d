"""Washes that stand still, by name: unreduced oxide after lye, clots that bleed acid; and the chalk of lye washes.

A wash that washes moves the pH by half a unit or more; these do not, and more washes are no cure.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal

import numpy as np

from service.bench.chemistry.reagents import Span
from stripread.words import N_, _

OXIDE_PH = 10.14  # silver oxide in pure water kept from air, 15 mg/L silver; PHREEQC, tests/data/stall.csv
OXIDE_AIRED_PH = 8.74  # the same, open to air; tests/data/stall.csv
OXIDE_NEAR = 0.3  # pH: a strip's error around the oxide's own
NEAR = 0.4  # pH: what a strip and the washes' salts leave open; common practice, no source
STILL = 0.35  # pH over all the washes of a stall together; one wash that washes moves it by 0.5 to 1
AFTER_LYE, AFTER_ACID = 3, 6  # washes running that stand still before it is called a stall; common practice, no source
MOVES = {"lye": 0.3, "acid": 0.15}  # pH a wash: less than this, the strips' own errors counted, is no washing
BLEEDING = (2.5, 5.3)  # pH at which clots that give off acid hold the washes
CHALK_G_MMOL = 0.05005  # g of chalk a litre per mmol/L of alkalinity with as much hardness: half a mmol of CaCO3


@dataclass(frozen=True)
class Wash:
    """One wash as it was read: its number, pH and the reading's interval."""

    number: int
    ph: float
    interval: tuple[float, float]


@dataclass(frozen=True)
class Stall:
    """Washes that stand still: "oxide" or "clots"; why, what to do, and where that is known from."""

    code: Literal["oxide", "clots"]
    sentence: str
    source: str


OXIDE = Stall(
    "oxide",
    N_(
        "The washes stand still at pH {ph:.1f}: that is what silver oxide left in the powder holds "
        "(10.1, or 8.7 once the sample stood in air). More washes won't move it: warm it with a "
        "little lye again, add more sugar in small portions, stirring, until it darkens no more, "
        "then wash. No acid: it would turn the oxide white, to chloride."
    ),
    "PHREEQC, minteq.v4.dat: tests/data/stall.csv; what to do: common practice, no source",
)
CLOTS = Stall(
    "clots",
    N_(
        "The washes stand still at pH {ph:.1f} for {washes} washes: clots bleed acid from their "
        "inside. More washes won't do: crush the clots under water, stir, let it stand an hour, then "
        "wash on."
    ),
    "common practice, no source",
)


def _still(washes: Sequence[Wash], running: int) -> Sequence[Wash]:
    """The last washes that stand still, ``running`` or more of different numbers; empty if there are fewer."""
    ordered = sorted({w.number: w for w in washes}.values(), key=lambda w: w.number)
    for first in range(len(ordered)):
        last = [w.ph for w in ordered[first:]]
        if max(last) - min(last) <= STILL:
            return ordered[first:] if len(last) >= running else ()
    return ()


def stall(washes: Sequence[Wash], after: Literal["acid", "lye"], water_ph: tuple[float, float]) -> Stall | None:
    """The stall that these washes show, None where they move on or are at the water's own pH.

    Parameters
    ----------
    washes
        As read, of one kind of liquid.
    after
        What is washed out.
    water_ph
        The rinse water's own pH, (low, high): fresh and aired. A stall inside it is no stall: hard water aired reads
        8.7 by itself.
    """
    held = _still(washes, AFTER_LYE if after == "lye" else AFTER_ACID)
    if not held:
        return None
    if _pace(held, after) > MOVES[after]:
        return None
    ph = float(np.median([w.ph for w in held]))
    low, high = water_ph
    if low - NEAR <= ph <= high + NEAR:
        return None
    if after == "lye" and min(abs(ph - OXIDE_PH), abs(ph - OXIDE_AIRED_PH)) <= OXIDE_NEAR:
        found = OXIDE
    elif after == "acid" and BLEEDING[0] <= ph <= min(BLEEDING[1], low - NEAR):
        found = CLOTS
    else:
        return None
    return Stall(found.code, _(found.sentence, ph=ph, washes=len(held)), found.source)


def _pace(washes: Sequence[Wash], after: Literal["acid", "lye"]) -> float:
    """PH towards neutral in each wash, at the most (95 %) that the readings' own errors leave open."""
    numbers = np.asarray([w.number for w in washes], float)
    slope = float(np.polyfit(numbers, [w.ph for w in washes], 1)[0])
    half = float(np.mean([0.5 * (w.interval[1] - w.interval[0]) for w in washes]))
    doubt = half / 1.96 / math.sqrt(float(np.sum((numbers - numbers.mean()) ** 2)))
    return (slope if after == "acid" else -slope) + 1.645 * doubt


@cache
def _chalk_table() -> tuple[list[float], list[list[float]]]:
    raw = tomllib.loads((files("service.bench") / "data" / "chalk.toml").read_text(encoding="utf-8"))
    return raw["alkalinity"], raw["wash"]


def chalk_g(litres: Sequence[float], alkalinity_mmol_l: float | None) -> Span:
    """Chalk that the washes after lye drop into the silver, g, (low, value, high).

    Parameters
    ----------
    litres
        Water added in each wash, the first after the lye first.
    alkalinity_mmol_l
        Of the water; None for tap water of which nothing is known (0 to 4 mmol/L).

    Returns
    -------
    The low end is a third of the computed fall (chalk is slow to fall), the high end all the lime that the lye can drop
    in the first three washes.

    Raises
    ------
    ValueError
        For a volume or an alkalinity below 0, or an alkalinity above 50 mmol/L.
    """
    if any(not v >= 0.0 for v in litres) or not 0.0 <= (alkalinity_mmol_l or 0.0) <= 50.0:
        raise ValueError(_("volumes lie above 0, the alkalinity between 0 and 50 mmol/L"))
    if alkalinity_mmol_l is None:
        return 0.0, chalk_g(litres, 2.0)[1], chalk_g(litres, 4.0)[2]
    at, table = _chalk_table()
    value = most = 0.0
    for volume, grams in zip(litres, table, strict=False):
        per_l = float(np.interp(alkalinity_mmol_l, at, grams)) * max(1.0, alkalinity_mmol_l / at[-1])
        value += volume * per_l
        most += volume * (CHALK_G_MMOL * alkalinity_mmol_l if per_l > 0.03 else 1.5 * per_l)
    return value / 3.0, value, max(value, most)


def chalk_sentence(grams: Span) -> str | None:
    """What the chalk means for weight and rinse; None where it is next to nothing."""
    if grams[2] < 0.01:
        return None
    return _(
        "Hard water drops {grams_1:.2g} g ({grams_0:.1g} to {grams_2:.2g} g) of chalk into the "
        "silver while the lye is washed out: it weighs with the powder and goes to the slag. A last "
        "rinse with very dilute acid takes it out (it fizzes), but only once no oxide is left; or "
        "wash with soft water.",
        grams_1=grams[1],
        grams_0=grams[0],
        grams_2=grams[2],
    )
