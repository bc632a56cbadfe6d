"""The stock vessel: what went in, the acid or lye it holds, and what neutralises it, slowly.

Strips saturate: a reading at the end of its range says "at least". No drain is ever suggested here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from service.bench.reagents import (
    NEUTRALISING_KJ_MOL,
    RULES,
    Span,
    molar_mass,
    portions,
    temperature_rise,
)
from service.bench.water import log_gamma

# Neutralisers: formula, mol of acid or base each mol takes, which side it is for.
NEUTRALISERS: dict[str, tuple[str, float, str]] = {
    "soda lye (NaOH)": ("NaOH", 1.0, "acid"),
    "slaked lime (Ca(OH)2)": ("Ca(OH)2", 2.0, "acid"),
    "baking soda (NaHCO3)": ("NaHCO3", 1.0, "acid"),
    "hydrochloric acid (as HCl)": ("HCl", 1.0, "lye"),
    "citric acid": ("C6H8O7", 3.0, "lye"),
}
LITTLE = 0.01  # mol; what 0.4 g of soda lye neutralises
ENDS = (1.0, 13.0)  # pH below and above which a strip's reading is only a bound

NO_DRAIN = (
    "Nothing of this goes down a drain, neutral or not: silver and copper poison water life in traces. Keep it "
    "labelled and closed, and hand it to the licensed collection; ask the local authority first."
)
CAUTIONS = (
    "Pour acid waste into alkaline waste slowly, stirring, with room to foam; it warms up.",
    "Silver and copper settle at pH 9 to 10. Above 10 some metals dissolve again.",
    "Nothing with ammonia and silver goes in unacidified: it can turn explosive. Ammonia also keeps metals dissolved.",
    "Never bleach, cyanide or sulfide near acid.",
)


@dataclass(frozen=True)
class Poured:
    """One thing poured into the vessel: litres, the pH read with its interval, metals named, mol if they are known.

    ``mol`` is acid (positive) or lye (negative) known from a recipe; then the pH is not needed.
    """

    what: str
    litres: float
    ph: float | None = None
    interval: tuple[float, float] | None = None
    mol: float | None = None
    metals: tuple[str, ...] = ()
    ammonia: bool = False


@dataclass(frozen=True)
class Stock:
    """What the vessel holds: litres; mol of acid (positive) or lye (negative) as (low, value, high).

    ``at_least`` says that a saturated strip went into the sum, so that the true amount may be far larger. ``side`` is
    "acid", "lye" or "unknown": what is in it for certain; "neither" when it is empty or holds next to nothing of both.
    """

    litres: float
    mol: Span
    at_least: bool
    metals: tuple[str, ...]
    ammonia: bool
    side: str
    sentence: str


@dataclass(frozen=True)
class Neutralise:
    """One way to neutralise: grams (low, value, high), heat and portions; ``sentence`` says how to go about it."""

    what: str
    grams: Span
    rise_k: float
    portions: int
    sentence: str


def acid_in(litres: float, ph: float, interval: tuple[float, float]) -> Span:
    """Strong acid (positive) or lye (negative), mol, in a liquid with this pH; (low, value, high).

    Weak acids, bicarbonate and metals that hold acid back are not seen by pH; near neutral it says next to nothing.
    """
    amounts = sorted(_strength(p) * litres for p in (interval[0], ph, interval[1]))
    return amounts[0], amounts[1], amounts[2]


def _strength(ph: float) -> float:
    """mol/L of strong acid (negative: lye) at this pH, 25 °C."""
    acid = ph < 7.0
    activity = math.pow(10.0, -ph if acid else ph - 14.0)
    molar = activity
    for _ in range(30):
        molar = activity / math.pow(10.0, float(log_gamma(molar)))
    return molar if acid else -molar


def stock(poured: list[Poured]) -> Stock:
    """Add up the vessel.

    Raises
    ------
    ValueError
        For a volume below 0.
    """
    if any(p.litres < 0 for p in poured):
        raise ValueError("a volume can't be below 0")
    low = mid = high = 0.0
    unknown = False
    ends: set[str] = set()  # sides on which a strip stood at its end: that amount has no upper bound
    for p in poured:
        if p.mol is not None:
            span: Span = (0.9 * p.mol, p.mol, 1.1 * p.mol) if p.mol >= 0 else (1.1 * p.mol, p.mol, 0.9 * p.mol)
        elif p.ph is not None:
            span = acid_in(p.litres, p.ph, p.interval or (p.ph - 0.5, p.ph + 0.5))
            if not ENDS[0] < p.ph < ENDS[1]:
                ends.add("acid" if p.ph < 7.0 else "lye")
        else:
            unknown, span = True, (0.0, 0.0, 0.0)
        low, mid, high = low + span[0], mid + span[1], high + span[2]
    metals = tuple(dict.fromkeys(m for p in poured for m in p.metals))
    ammonia = any(p.ammonia for p in poured)
    litres = sum(p.litres for p in poured)
    side = _side((low, mid, high), ends, unknown)
    text = _say((low, mid, high), side, ends, unknown) if poured else "It is empty."
    return Stock(litres, (low, mid, high), bool(ends) or unknown, metals, ammonia, side, text)


def _side(mol: Span, ends: set[str], unknown: bool) -> str:
    """The side on which the sum stands whatever the truth inside its ranges; a strip at its end opens one of them."""
    if not ends and not unknown and max(abs(m) for m in mol) < LITTLE:
        return "neither"
    could_be_lye = mol[0] < 0 or "lye" in ends or unknown
    could_be_acid = mol[2] > 0 or "acid" in ends or unknown
    if could_be_lye == could_be_acid:
        return "unknown"
    return "acid" if could_be_acid else "lye"


def _say(mol: Span, side: str, ends: set[str], unknown: bool) -> str:
    low, mid, high = sorted(abs(m) for m in mol)
    if side == "neither":
        text = "Near neutral by what was read: read its pH all the same."
    elif side != "unknown":
        text = f"About {mid:.2g} mol of {side} ({low:.2g} to {high:.2g})."
    elif mol == (0.0, 0.0, 0.0):
        text = "How much acid or lye it holds is not known: read its pH first."
    else:
        text = f"Could be acid or lye: read its pH first, stirred. By what was written down it holds {_between(mol)}."
    if ends:
        text += " A strip stood at its end: read this as at least so much, and check as you go."
    if unknown:
        text += " Something went in without a pH."
    return text


def _between(mol: Span) -> str:
    """ "0.3 mol of lye to 0.5 mol of acid"."""
    ends = [f"{abs(m):.2g} mol of {'acid' if m >= 0 else 'lye'}" for m in (mol[0], mol[2])]
    return " to ".join(ends)


def ways(held: Stock) -> tuple[Neutralise, ...]:
    """Each way to neutralise it; none while nobody knows whether it is acid or lye, or when there is nothing to do."""
    return tuple(neutralise(held, name) for name, (_, _, fits) in NEUTRALISERS.items() if fits == held.side)


def neutralise(held: Stock, by: str) -> Neutralise:
    """How much of ``by`` takes the vessel to neutral.

    Raises
    ------
    ValueError
        For a substance not in NEUTRALISERS, one for the other side, or while the side is not known.
    """
    if by not in NEUTRALISERS:
        raise ValueError(f"no such neutraliser: {by!r}; there are {', '.join(NEUTRALISERS)}")
    formula, each, side = NEUTRALISERS[by]
    sign = 1.0 if side == "acid" else -1.0
    spans = sorted(max(0.0, sign * m) for m in held.mol)
    if held.side not in ("acid", "lye"):
        raise ValueError(f"the vessel could be acid or lye: {by} might add to it; read its pH first")
    if held.side != side:
        raise ValueError(f"the vessel holds {held.side}: {by} would add to it")
    factor = molar_mass(formula) / each
    grams = (spans[0] * factor, spans[1] * factor, spans[2] * factor)
    rise = temperature_rise(spans[2] * NEUTRALISING_KJ_MOL[1], max(held.litres, 0.05) * 1000.0)
    count = max(5, portions(rise, 5.0))
    gas = " It foams: carbon dioxide; keep the vessel half empty and open." if formula == "NaHCO3" else ""
    more = " or more (a strip stood at its end)" if held.at_least else ""
    text = (
        f"{grams[1]:.3g} g ({grams[0]:.3g} to {grams[2]:.3g} g){more} of {by}, dissolved or in small spoons, in "
        f"{count} portions or more, stirring, waiting and reading the pH after each; stop at pH 9 to 10: "
        f"there the metals settle.{gas}"
    )
    if held.ammonia:
        text = "Ammonia went in: acidify first, in a draught, and leave it acid; ask the collection. " + text
    return Neutralise(by, grams, rise, count, text)


def recover(held: Stock) -> tuple[str, ...]:
    """Metals worth having back before the rest is handed over, with the common way."""
    tips = []
    if "silver" in held.metals:
        tips.append(
            "Silver: add salt or a little hydrochloric acid until nothing more turns white; settle, keep the white."
        )
    if "copper" in held.metals:
        tips.append(
            "Copper: falls as pale-blue hydroxide at pH 9 to 10; filter, keep the cake wet and labelled, hand it over."
        )
    tips.append(NO_DRAIN)
    tips.append(RULES)
    return tuple(tips)
