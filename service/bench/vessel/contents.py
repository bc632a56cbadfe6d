"""What a vessel holds, worked out from what was poured: acid or lye, and the kinds that must not meet.

pH sees strong acid and lye only. Ammonia, a weak base that pH hides, is counted from its own equilibrium. Where an
amount is not known its kind is there all the same: what may be in a vessel decides what must not follow.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache, reduce

from service.bench.chemistry.reagents import Span
from service.bench.chemistry.water import log_gamma
from service.bench.vessel.substances import Kind, Named, mentioned, named
from stripread.words import _, spoken

ENDS = (1.0, 13.0)  # pH below and above which a strip's reading is only a bound; common practice, no source
SATURATED = (0.3, 13.7)  # pH; from here on it may be the strongest acid or lye that is sold; from memory
STRONGEST = (12.0, 19.0)  # mol/L of hydrochloric acid and of soda lye, the strongest that are sold; from memory
WEAKER = 1.0  # mol/L of lye in bleach and the like; from memory
AMMONIA_KB = 10.0 ** (9.244 - 13.997)  # of ammonia, NIST 46 by minteq.v4.dat
AMMONIA_SOLD = (0.1, 15.0)  # mol/L where nothing is known of it; household ammonia has some 3; from memory
LITTLE = 0.01  # mol; what 0.4 g of soda lye neutralises
NONE: Span = (0.0, 0.0, 0.0)
Amounts = tuple[tuple[Kind, Span], ...]


@dataclass(frozen=True)
class Poured:
    """One thing poured into the vessel: litres, the pH read with its interval, what it contains.

    ``mol`` is acid (positive) or lye (negative) known from a recipe; then the pH is not needed. ``metals`` and
    ``contents`` are words ("silver", "bleach", "ammonia 0.1 mol/L"); ``what`` is free text, in which known words count.
    """

    what: str
    litres: float
    ph: float | None = None
    interval: tuple[float, float] | None = None
    mol: float | None = None
    metals: tuple[str, ...] = ()
    ammonia: bool = False
    contents: tuple[str, ...] = ()

    def substances(self) -> tuple[Named, ...]:
        """Everything named."""
        flag = (Named("ammonia", frozenset({Kind.AMMONIA})),) if self.ammonia else ()
        return (*named(self.metals), *named(self.contents), *mentioned(self.what), *flag)

    def questions(self) -> tuple[str, ...]:
        """What must be asked about it before it is poured."""
        return tuple(n.question for n in self.substances() if n.question is not None)

    def kinds(self) -> frozenset[Kind]:
        """The kinds of everything named; acid and lye by name only where neither pH nor mol says it better."""
        found = frozenset(kind for n in self.substances() for kind in n.kinds)
        if self.ph is not None or self.mol is not None:
            found -= {Kind.ACID, Kind.LYE}
        return found


@dataclass(frozen=True)
class Base:
    """Acid (positive) or lye (negative), mol, (low, value, high), and how sure its ends are."""

    mol: Span
    ends: frozenset[str]  # sides ("acid", "lye") on which a strip stood at its end
    unknown: frozenset[str]  # sides of which some went in, nobody knows how much
    most: tuple[float, float]  # mol of acid and of lye in it at the very most, as far as something is known of them


@dataclass(frozen=True)
class Contents:
    """All that is in a vessel.

    ``amounts`` has mol (low, value, high) of the kinds whose strength was told; ``side`` is "acid" or "lye" where that
    is certain, "neither" where next to nothing of both is in it, else "unknown".
    """

    litres: float
    base: Base
    kinds: frozenset[Kind]
    amounts: Amounts
    side: str
    questions: tuple[str, ...] = ()

    def has(self, *kinds: Kind) -> bool:
        """Whether all of these are, or may be, in it."""
        return self.kinds.issuperset(kinds)

    def strength(self, kind: Kind) -> Span | None:
        """mol/L of a kind, None where it was not told."""
        found = [span for k, span in self.amounts if k == kind]
        if not found or not self.litres:
            return None
        low, value, high = (sum(s[i] for s in found) / self.litres for i in range(3))
        return low, value, high

    @property
    def may_be_acid(self) -> bool:
        """Whether it may stand below pH 6."""
        return self.base.mol[2] > 1e-6 * self.litres or "acid" in self.base.ends | self.base.unknown

    @property
    def may_be_alkaline(self) -> bool:
        """Whether it may stand above pH 8."""
        return self.base.mol[0] < -1e-6 * self.litres or "lye" in self.base.ends | self.base.unknown

    @property
    def silver_form(self) -> str:
        """How the silver is there: "none", "with ammonia", "as chloride" or "dissolved"."""
        if Kind.SILVER not in self.kinds:
            return "none"
        if Kind.AMMONIA in self.kinds:
            return "with ammonia"
        return "as chloride" if Kind.CHLORIDE in self.kinds else "dissolved"


EMPTY = Contents(0.0, Base(NONE, frozenset(), frozenset(), (0.0, 0.0)), frozenset(), (), "neither")


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
    for _unused in range(30):
        molar = activity / math.pow(10.0, float(log_gamma(molar)))
    return molar if acid else -molar


def base_of(poured: Poured) -> Base:
    """Acid or lye in one pouring."""
    litres = poured.litres
    if poured.mol is not None:
        m = poured.mol
        span: Span = (0.9 * m, m, 1.1 * m) if m >= 0 else (1.1 * m, m, 0.9 * m)
        return Base(span, frozenset(), frozenset(), (max(0.0, span[2]), max(0.0, -span[0])))
    kinds = poured.kinds()
    if poured.ph is None:
        by_name = kinds & {Kind.ACID, Kind.LYE}
        lye = WEAKER if kinds & {Kind.BLEACH, Kind.CYANIDE, Kind.SULFIDE} else STRONGEST[1]
        most = (STRONGEST[0] * litres * (Kind.ACID in by_name), lye * litres * (Kind.LYE in by_name))
        return Base(NONE, frozenset(), frozenset(by_name or {Kind.ACID, Kind.LYE}), most)
    interval = poured.interval or (poured.ph - 0.5, poured.ph + 0.5)
    span = acid_in(litres, poured.ph, interval)
    ends = frozenset() if ENDS[0] < poured.ph < ENDS[1] else frozenset({"acid" if poured.ph < 7.0 else "lye"})
    hidden = _ammonia_mol(poured) if Kind.AMMONIA in kinds and interval[1] > 7.0 else NONE
    span = (span[0] - hidden[2], span[1] - hidden[1], span[2] - hidden[0])
    acid = STRONGEST[0] * litres if interval[0] <= SATURATED[0] else max(0.0, span[2])
    lye = STRONGEST[1] * litres if interval[1] >= SATURATED[1] else max(0.0, -span[0])
    return Base(span, ends, frozenset(), (acid, lye))


def _ammonia_mol(poured: Poured) -> Span:
    """Ammonia as a base, mol: as told, else by the pH it gives: [OH-]^2 = Kb [NH3]."""
    told = [n.mol_l for n in poured.substances() if Kind.AMMONIA in n.kinds and n.mol_l is not None]
    if told:
        mol = max(told) * poured.litres
        return 0.9 * mol, mol, 1.1 * mol
    if poured.ph is None:
        low, high = AMMONIA_SOLD
        return low * poured.litres, math.sqrt(low * high) * poured.litres, high * poured.litres
    interval = poured.interval or (poured.ph - 0.5, poured.ph + 0.5)
    parts = [
        min(AMMONIA_SOLD[1], 10.0 ** (2.0 * (p - 14.0)) / AMMONIA_KB) for p in (interval[0], poured.ph, interval[1])
    ]
    return parts[0] * poured.litres, parts[1] * poured.litres, parts[2] * poured.litres


def contents_of(poured: list[Poured]) -> Contents:
    """Add a vessel up.

    Raises
    ------
    ValueError
        For a volume below 0.
    """
    if any(not p.litres >= 0.0 for p in poured):
        raise ValueError(_("a volume can't be below 0"))
    return reduce(together, (_contents(p, spoken()) for p in poured), EMPTY)


@lru_cache(maxsize=4096)
def _contents(poured: Poured, _language: str) -> Contents:
    """What one pouring is; its questions are kept for the language they are asked in."""
    base = base_of(poured)
    amounts = tuple(
        (kind, (0.9 * n.mol_l * poured.litres, n.mol_l * poured.litres, 1.1 * n.mol_l * poured.litres))
        for n in poured.substances()
        if n.mol_l is not None
        for kind in sorted(n.kinds)
    )
    return Contents(poured.litres, base, poured.kinds(), amounts, _side(base), poured.questions())


def together(one: Contents, other: Contents) -> Contents:
    """Both in one vessel."""
    a, b = one.base, other.base
    base = Base(
        (a.mol[0] + b.mol[0], a.mol[1] + b.mol[1], a.mol[2] + b.mol[2]),
        a.ends | b.ends,
        a.unknown | b.unknown,
        (a.most[0] + b.most[0], a.most[1] + b.most[1]),
    )
    return Contents(
        one.litres + other.litres,
        base,
        one.kinds | other.kinds,
        _summed(one.amounts, other.amounts),
        _side(base),
        tuple(dict.fromkeys(one.questions + other.questions)),
    )


def _summed(one: Amounts, other: Amounts) -> Amounts:
    """The amounts of each kind together: a vessel's list is no longer than there are kinds."""
    found: dict[Kind, Span] = {}
    for kind, span in (*one, *other):
        before = found.get(kind, NONE)
        found[kind] = (before[0] + span[0], before[1] + span[1], before[2] + span[2])
    return tuple(found.items())


def _side(base: Base) -> str:
    """The side on which the sum stands whatever the truth inside its ranges; a strip at its end opens one of them."""
    if not base.ends and not base.unknown and max(abs(m) for m in base.mol) < LITTLE:
        return "neither"
    could_be_lye = base.mol[0] < 0 or "lye" in base.ends | base.unknown
    could_be_acid = base.mol[2] > 0 or "acid" in base.ends | base.unknown
    if could_be_lye == could_be_acid:
        return "unknown"
    return "acid" if could_be_acid else "lye"
