"""How much silver a liquid holds: chloride with its chloro-complexes, and the chloride that ammonia takes.

Own equations on four published sets of constants. In water they agree within some 10 %, in 0.1 mol/L acid within a
factor 1.3, in 6 mol/L within a factor 3: the spread is the answer's range, the geometric mean its value.
Activities by Davies are those of ``water.log_gamma``, where the formula's source stands.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache
from importlib.resources import files

import numpy as np
from scipy.optimize import brentq

from service.bench.chemistry.water import constants, log_gamma
from stripread.words import _

GAS = 8.314462618e-3  # kJ/(mol K); exact since 2019 (CODATA)
SILVER_G_MOL = 107.8682  # IUPAC standard atomic weight; reagents.py takes the same from periodictable
# mg/L of silver in which a drop of salt water is still seen to cloud, against a dark edge; from memory, not looked up.
DROP_SEES = (0.5, 2.0, 5.0)
# The B-dot activity model of llnl.dat: °C, B (1/ångström), B-dot.
_BDOT_T = (0.01, 25.0, 60.0, 100.0)
_BDOT_B = (0.3253, 0.3288, 0.3346, 0.3421)
_BDOT = (0.0374, 0.0410, 0.0438, 0.0460)


@dataclass(frozen=True)
class Solubility:
    """Dissolved silver, mg/L: value and range, and each set's own figure."""

    mg_l: float
    low: float
    high: float
    by_set: dict[str, float]


@dataclass(frozen=True)
class Equilibrium:
    """log10 of a constant: at 25 °C with its enthalpy (kJ/mol), or an analytic expression in kelvin (5 terms)."""

    log_k: float = 0.0
    delta_h: float = 0.0
    analytic: tuple[float, ...] = ()


@dataclass(frozen=True)
class Complex:
    """A chloro-complex; ``size`` is its ion's, ångström, None for Davies."""

    charge: int
    constant: Equilibrium
    size: float | None = None


@dataclass(frozen=True)
class ConstantSet:
    """One compilation, good up to ``strongest`` mol/L; ion sizes (ångström) of silver, chloride, hydrogen."""

    name: str
    strongest: float
    solid: Equilibrium
    complexes: tuple[Complex, ...]
    acid_pair: Equilibrium | None
    sizes: tuple[float | None, float | None, float | None]


def _equilibrium(log_k: float = 0.0, delta_h: float = 0.0, analytic: Sequence[float] = ()) -> Equilibrium:
    return Equilibrium(log_k, delta_h, tuple(analytic))


@cache
def _sets() -> tuple[ConstantSet, ...]:
    text = (files("service.bench") / "data" / "silver_constants.toml").read_text(encoding="utf-8")
    found = []
    for entry in tomllib.loads(text)["set"]:
        complexes = []
        for one in entry["complexes"]:
            constant = _equilibrium(**{k: v for k, v in one.items() if k not in ("charge", "size")})
            complexes.append(Complex(one["charge"], constant, one.get("size")))
        pair, sizes = entry.get("acid_pair"), entry.get("ion_size", {})
        found.append(
            ConstantSet(
                entry["name"],
                entry["strongest"],
                _equilibrium(**entry["solid"]),
                tuple(complexes),
                None if pair is None else _equilibrium(**pair),
                (sizes.get("silver"), sizes.get("chloride"), sizes.get("hydrogen")),
            )
        )
    return tuple(found)


def log_k(entry: Equilibrium, temp_c: float) -> float:
    """log10 of an equilibrium constant at ``temp_c`` from an analytic expression or by van 't Hoff."""
    t = temp_c + 273.15
    if entry.analytic:
        a1, a2, a3, a4, a5 = entry.analytic
        return float(a1 + a2 * t + a3 / t + a4 * math.log10(t) + a5 / t**2)
    return float(entry.log_k - entry.delta_h / (GAS * math.log(10.0)) * (1.0 / t - 1.0 / 298.15))


@lru_cache(maxsize=256)
def _b_dot(temp_c: float) -> tuple[float, float]:
    """B of Debye and Hückel's law, and B-dot, at this temperature."""
    return float(np.interp(temp_c, _BDOT_T, _BDOT_B)), float(np.interp(temp_c, _BDOT_T, _BDOT))


def _gamma(charge: int, size: float | None, ionic: float, temp_c: float) -> float:
    """Activity coefficient; neutral species 1."""
    if charge == 0:
        return 1.0
    if size is None:
        return float(10.0 ** log_gamma(ionic, charge, temp_c))
    root = math.sqrt(ionic)
    b, dot = _b_dot(temp_c)
    return float(10.0 ** (-constants(temp_c).debye * charge**2 * root / (1.0 + size * b * root) + dot * ionic))


def _solve(entry: ConstantSet, chloride: float, temp_c: float, acid: bool) -> float:
    """Dissolved silver in mol/L over solid AgCl in ``chloride`` mol/L of HCl (or of a salt)."""
    solid = 10.0 ** log_k(entry.solid, temp_c)
    betas = [10.0 ** log_k(c.constant, temp_c) for c in entry.complexes]
    pair = 10.0 ** log_k(entry.acid_pair, temp_c) if acid and entry.acid_pair is not None else 0.0
    of_silver, of_chloride, of_hydrogen = entry.sizes
    ionic, silver, near = max(chloride, 1e-5), 0.0, None
    for _unused in range(60):
        g_cl = _gamma(-1, of_chloride, ionic, temp_c)
        g_ag = _gamma(1, of_silver, ionic, temp_c)
        g_h = _gamma(1, of_hydrogen, ionic, temp_c)
        g_c = [_gamma(c.charge, c.size, ionic, temp_c) for c in entry.complexes]

        def species(free: float, g: tuple[float, float, list[float]] = (g_ag, g_cl, g_c)) -> list[float]:
            active = free * g[1]  # of chloride
            bound = [solid * b * active**j / gj for j, (b, gj) in enumerate(zip(betas, g[2], strict=True))]
            return [solid / active / g[0], *bound]  # Ag+, AgCl, AgCl2-, ...

        def excess(log_free: float, hg: float = g_h * g_cl) -> float:
            free = math.exp(log_free)
            parts = species(free)
            # HCl(aq): free hydrogen is what is not paired.
            paired = chloride * pair * hg * free / (1.0 + pair * hg * free)
            bound = sum(j * m for j, m in enumerate(parts))
            return free + paired + bound - chloride - sum(parts)

        near = brentq(excess, *_around(excess, near))
        free = math.exp(near)
        parts = species(free)
        before, silver = silver, sum(parts)
        # HCl(aq) carries no charge; a salt stays apart.
        ionic = 0.5 * (ionic + (free if acid else max(free, chloride)))
        if abs(silver - before) < 1e-7 * silver:
            break
    return silver


def _around(excess: Callable[[float], float], near: float | None) -> tuple[float, float]:
    """Where the root is: close to that of the round before, or anywhere between 1e-9 and 20 mol/L (logarithms)."""
    if near is not None and excess(near - 0.1) < 0.0 < excess(near + 0.1):
        return near - 0.1, near + 0.1
    return math.log(1e-9), math.log(20.0)


@lru_cache(maxsize=4096)
def chloride_solubility(chloride: float, temp_c: float = 25.0, acid: bool = True) -> Solubility:
    """Silver dissolved over silver chloride.

    Parameters
    ----------
    chloride
        mol/L of hydrochloric acid, or of chloride salt with ``acid`` false; 0 to 12.
    temp_c
        0-100 °C.

    Returns
    -------
    The geometric mean of the sets that hold at this strength; the range is their spread widened by what activity
    models are worth there (10 % in water, a factor 1.35 in 0.1 mol/L, near 2 in strong acid).

    Raises
    ------
    ValueError
        Outside these limits.
    """
    if not 0.0 <= chloride <= 12.0:
        raise ValueError(_("chloride {chloride:g} mol/L is outside 0 to 12", chloride=chloride))
    values = {
        s.name: _solve(s, chloride, temp_c, acid) * SILVER_G_MOL * 1000.0 for s in _sets() if chloride <= s.strongest
    }
    centre = math.exp(sum(math.log(v) for v in values.values()) / len(values))
    doubt = 1.1 + 0.8 * math.sqrt(min(chloride, 1.0))
    return Solubility(centre, min(values.values()) / doubt, max(values.values()) * doubt, values)


def least_soluble() -> tuple[float, float]:
    """Chloride (mol/L) where silver chloride dissolves least at 25 °C, and the silver there, mg/L."""
    grid = np.geomspace(3e-4, 3e-2, 41)
    values = [chloride_solubility(float(c)).mg_l for c in grid]
    best = int(np.argmin(values))
    return float(grid[best]), values[best]


def ammonia_solubility(ammonia: float) -> Solubility:
    """Silver (mg/L) that ``ammonia`` mol/L takes from solid silver chloride at 25 °C.

    s = k (C - 2 s): the ideal solution is the low end; activity by the limiting law for the complex and Davies for
    chloride the high end. This liquid becomes explosive on standing: acidify at once, never keep it.

    Raises
    ------
    ValueError
        Outside 0 to 15 mol/L.
    """
    if not 0.0 <= ammonia <= 15.0:
        raise ValueError(_("ammonia {ammonia:g} mol/L is outside 0 to 15", ammonia=ammonia))
    # NIST 46 by minteq.v4.dat: Ksp -9.75; Ag+ + 2 NH4+ = Ag(NH3)2+ + 2 H+ -11.268; pKa 9.244.
    k = 10.0 ** (0.5 * (-9.75 + 2.0 * 9.244 - 11.268))
    ideal = real = k * ammonia / (1.0 + 2.0 * k)
    debye = constants(25.0).debye
    for _unused in range(80):
        g = 10.0 ** (0.5 * (float(log_gamma(real)) - debye * math.sqrt(min(real, 0.25))))
        real = 0.5 * real + 0.5 * (k / g) * ammonia / (1.0 + 2.0 * k / g)
    low, high = (s * SILVER_G_MOL * 1000.0 for s in (ideal, real))
    return Solubility(math.sqrt(low * high), low, high, {"ideal": low, "with activity": high})
