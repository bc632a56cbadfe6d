"""The lye step as the equilibrium it is: 2 AgCl + 2 OH- = Ag2O + 2 Cl- + H2O.

It stops when [Cl-]/[OH-] reaches K: about 0.01 at 25 °C, 0.04 at 60, 0.1 at 90. One stoichiometric dose therefore
leaves nearly everything unconverted. Several hot portions with decanting push it on; sugar, which takes the oxide away
to metal, pulls it through. K from the solubility products of AgCl and Ag2O and the ion product of water; strong lye
lies outside all activity models, so K is good to a factor 2 below 1 mol/L and 3 above.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from service.bench.chemistry.reagents import Span
from service.bench.chemistry.silver import Equilibrium, log_k
from stripread.words import N_, _, number

# Solid AgCl, and Ag2O + 2 H+ = 2 Ag+ + H2O, and H2O = H+ + OH-, of two compilations as
# distributed with PHREEQC; mixing constants of different ones would cost 20 % at 90 °C.
# Each database as distributed with PHREEQC: minteq.v4.dat, and Thermoddem 1.10 with its analytic expressions.
_NIST46 = (
    Equilibrium(-9.75, 65.2),
    Equilibrium(12.574, -45.62),
    Equilibrium(-13.997, 55.81),
)
_THERMODDEM = (
    Equilibrium(analytic=(-738.05154, -0.115886, 37595.198, 268.54595, -2465898.9)),
    Equilibrium(analytic=(-284.94996, -0.033482379, 18828.474, 102.96307, -926557.01)),
    Equilibrium(analytic=(-701.95411, -0.11273948, 36168.089, 253.60011, -2423262.0)),
)
# Mass share that stays white under its own black oxide however long one waits; common practice, no source.
COATED = (0.001, 0.01, 0.03)


def chloride_over_hydroxide(temp_c: float, lye_mol_l: float = 0.1) -> Span:
    """Equilibrium [Cl-]/[OH-] over chloride and oxide together, as (low, value, high).

    Raises
    ------
    ValueError
        Outside 0-100 °C.
    """
    if not 0.0 <= temp_c <= 100.0:
        raise ValueError(_("temperature {temp_c:g} °C is outside 0-100 °C", temp_c=temp_c))
    logs = [
        log_k(salt, temp_c) - (0.5 * log_k(oxide, temp_c) + log_k(water, temp_c))
        for salt, oxide, water in (_NIST46, _THERMODDEM)
    ]
    # Strong lye favours hydroxide a little: the same PHREEQC tables rise by a quarter from 0.1 to 10 mol/L.
    centre = 10.0 ** (sum(logs) / 2.0) * (1.0 + 0.025 * min(lye_mol_l, 10.0))
    doubt = 2.0 if lye_mol_l <= 1.0 else 3.0
    return centre / doubt, centre, centre * doubt


@dataclass(frozen=True)
class LyePlan:
    """What one way of adding the lye leaves as chloride: share by mass (low, value, high), and what it costs."""

    name: str
    portions: int
    lye_mol: float  # all portions together
    temp_c: float
    unconverted: Span
    sentence: str


def after_portions(chloride_mol: float, portion_mol: float, portions: int, k: float, carried: float = 0.1) -> float:
    """Chloride (mol) left after ``portions`` of lye, each brought to equilibrium, the liquid decanted between.

    ``carried`` is the share of the old liquid, with its chloride, that stays with the solid.
    """
    left, salt, base = chloride_mol, 0.0, 0.0
    for _unused in range(portions):
        salt, base = carried * salt, carried * base + portion_mol
        turned = min(left, max(0.0, (k * base - salt) / (1.0 + k)))
        left, salt, base = left - turned, salt + turned, base - turned
    return left


def portions_needed(
    chloride_mol: float, portion_mol: float, k: float, *, goal: float = 0.01, carried: float = 0.1, most: int = 200
) -> int | None:
    """Portions until at most the share ``goal`` is left; None if more than ``most``."""
    for n in range(1, most + 1):
        if after_portions(chloride_mol, portion_mol, n, k, carried) <= goal * chloride_mol:
            return n
    return None


def plan_lye(
    chloride_mol: float,
    portion_mol: float,
    portions: int,
    temp_c: float,
    *,
    lye_mol_l: float = 3.0,
    carried: float = 0.1,
) -> LyePlan:
    """Lye alone, in ``portions`` with decanting between.

    Raises
    ------
    ValueError
        For amounts not above 0 or a carried share outside 0-1.
    """
    if min(chloride_mol, portion_mol, lye_mol_l) <= 0 or portions < 1 or not 0.0 <= carried < 1.0:
        raise ValueError(_("needs amounts above 0, one portion or more, and a carried share between 0 and 1"))
    low_k, mid_k, high_k = chloride_over_hydroxide(temp_c, lye_mol_l)
    parts = [
        after_portions(chloride_mol, portion_mol, portions, k, carried) / chloride_mol for k in (high_k, mid_k, low_k)
    ]
    # The last traces are a matter of coats and clots, not of the equilibrium.
    span = (max(parts[0], COATED[0]), max(parts[1], COATED[1]), max(parts[2], COATED[2]))
    needs = [portions_needed(chloride_mol, portion_mol, k, carried=carried) for k in (high_k, mid_k, low_k)]
    many = [str(n) if n else "over 200" for n in needs]
    text = _(
        "Leaves {span} as chloride. Down to 1 % takes about {many_1} such portions ({many_0} to "
        "{many_2}): the equilibrium is against you.",
        span=_percent(span),
        many_1=many[1],
        many_0=many[0],
        many_2=many[2],
    )
    return LyePlan(_("lye alone"), portions, portions * portion_mol, temp_c, span, text)


def plan_sugar(chloride_mol: float, lye_mol: float, temp_c: float) -> LyePlan:
    """Lye with sugar: the oxide is taken away as it forms, so only a shortage of lye or a coat stops it.

    The lye goes to the chloride (1 mol a mol) and to the acids of the sugar (0.5 mol at least, up to 1.5 in hot lye;
    the upper figure is from memory, not looked up).

    Raises
    ------
    ValueError
        For amounts not above 0.
    """
    if min(chloride_mol, lye_mol) <= 0:
        raise ValueError(_("needs amounts above 0"))
    short = [max(0.0, 1.0 - lye_mol / (need * chloride_mol)) for need in (1.5, 1.8, 2.5)]
    span = (max(short[0], COATED[0]), max(short[1], COATED[1]), max(short[2], COATED[2]))
    text = _("Leaves {span} as chloride", span=_percent(span))
    text += (
        _(": lye may run short; check that it stays above pH 13.")
        if short[2] > COATED[2]
        else _("; stir, wait, look again.")
    )
    if temp_c < 50.0:
        text += _(" Cold it is slow: warm to 60-80 °C, in small portions.")
    return LyePlan(_("lye and sugar"), 1, lye_mol, temp_c, span, text)


def _percent(span: Span) -> str:
    low, mid, high = (100.0 * s for s in span)
    return (
        _("{mid} % ({low} to {high} %)", mid=_short(mid), low=_short(low), high=_short(high))
        if not math.isclose(low, high)
        else _("{mid} %", mid=_short(mid))
    )


def _short(value: float) -> str:
    return number(value, ".0f" if value >= 10 else ".2g")


NO_PROOF = N_(
    "No white seen is an optical end point, not proof: black oxide coats white chloride. Crush "
    "clots, stir, look again; chloride that is left melts first (455 °C), fumes and goes to the "
    "slag."
)
