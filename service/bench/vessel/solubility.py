"""What a stock vessel keeps in solution at a pH: silver and copper beside chloride, ammonia and citrate.

Own mass balances on the constants of ``data/metal_constants.toml``, activities by Davies (``water.log_gamma``, where
the formula's source stands). Good to some 20 % up to
0.3 mol/L of salts and 0.1 mol/L of ammonia; beyond that, an order.
"""

from __future__ import annotations

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from scipy.optimize import brentq

from service.bench.chemistry.reagents import Span
from service.bench.chemistry.water import constants, log_gamma, ph_from_acid
from stripread.words import _

G_MOL = {"silver": 107.8682, "copper": 63.546}  # IUPAC standard atomic weights
GASSING_ATM = 0.1  # CO2 over a liquid that foams; the pressure of tests/data/vessel.csv
TINY = 1e-14


@dataclass(frozen=True)
class Complex:
    """``metal`` metal ions with ``n`` of ``ligand`` and ``hydrogen`` hydrogen ions (negative: hydroxide)."""

    ligand: str
    n: int
    hydrogen: int
    charge: int
    log_k: float
    metal: int = 1


@dataclass(frozen=True)
class Partner:
    """A ligand with ``n`` hydrogen ions, or with sodium."""

    n: int
    charge: int
    log_k: float
    ion: str = "hydrogen"


@dataclass(frozen=True)
class Ligand:
    """What holds metals dissolved."""

    charge: int
    partners: tuple[Partner, ...]


@dataclass(frozen=True)
class MetalConstants:
    """A metal's constants: of its oxide or hydroxide, of its chloride where that is a solid, of its complexes."""

    charge: int
    oxide: float
    chloride: float | None
    complexes: tuple[Complex, ...]


@dataclass(frozen=True)
class _Tables:
    metals: Mapping[str, MetalConstants]
    ligands: Mapping[str, Ligand]


@cache
def _tables() -> _Tables:
    raw = tomllib.loads((files("service.bench") / "data" / "metal_constants.toml").read_text(encoding="utf-8"))
    ligands = {
        name: Ligand(entry["charge"], tuple(Partner(**p) for p in entry["partners"]))
        for name, entry in raw["ligand"].items()
    }
    metals = {
        name: MetalConstants(
            raw[name]["charge"],
            raw[name]["oxide"],
            raw[name].get("chloride"),
            tuple(Complex(**c) for c in raw[name]["complexes"]),
        )
        for name in G_MOL
    }
    return _Tables(metals, ligands)


def _gamma(charge: int, ionic: float, limiting: bool = False) -> float:
    """Activity coefficient: Davies, or the limiting law of Debye and Hückel."""
    if not charge:
        return 1.0
    if limiting:
        return float(10.0 ** (-constants(25.0).debye * charge**2 * math.sqrt(min(ionic, 1.0))))
    return float(10.0 ** log_gamma(ionic, charge))


@dataclass(frozen=True)
class _Liquid:
    """One liquid: hydrogen ion activity, ionic strength, ligands in all (mol/L)."""

    metal: MetalConstants
    hydrogen: float
    ionic: float
    ligands: Mapping[str, float]
    limiting: bool  # complexes by the limiting law, as the compilation's own activity model has it; else by Davies

    def species(self, ion: float, free: Mapping[str, float]) -> list[tuple[Complex, float]]:
        """mol/L of each complex at metal ion activity ``ion`` and free ligand activities ``free``."""
        found = []
        for c in self.metal.complexes:
            ligand = free.get(c.ligand, 0.0) if c.n else 1.0
            active = 10.0**c.log_k * ion**c.metal * ligand**c.n * self.hydrogen**c.hydrogen
            found.append((c, active / _gamma(c.charge, self.ionic, self.limiting)))
        return found

    def held(self, name: str, active: float) -> float:
        """mol/L of a ligand that is not on the metal, at its free activity."""
        ligand = _tables().ligands[name]
        total = active / _gamma(ligand.charge, self.ionic)
        sodium = 0.75 * self.ionic  # activity: every salt here is taken for sodium's
        for p in ligand.partners:
            partner = sodium if p.ion == "sodium" else self.hydrogen
            total += 10.0**p.log_k * active * partner**p.n / _gamma(p.charge, self.ionic, self.limiting)
        return total

    def free_ligands(self, ion: float) -> dict[str, float]:
        """Free activities of the ligands at metal ion activity ``ion``, each from its own mass balance."""
        free: dict[str, float] = {}
        for name, total in self.ligands.items():
            if total <= 0.0:
                continue

            def over(log_active: float, name: str = name, total: float = total) -> float:
                active = math.exp(log_active)
                bound = sum(c.n * m for c, m in self.species(ion, {name: active}) if c.ligand == name and c.n)
                return self.held(name, active) + bound - total

            free[name] = math.exp(brentq(over, math.log(1e-30), math.log(10.0 * total + 1e-12)))
        return free

    def dissolved(self, ion: float) -> tuple[float, float]:
        """Metal in solution, and metal in its solid chloride, mol/L, at metal ion activity ``ion``."""
        free = self.free_ligands(ion)
        solid = 0.0
        if self.metal.chloride is not None and free.get("chloride", 0.0) * ion > 10.0**self.metal.chloride:
            free["chloride"] = 10.0**self.metal.chloride / ion
            parts = self.species(ion, free)
            bound = sum(c.n * m for c, m in parts if c.ligand == "chloride")
            solid = max(0.0, self.ligands["chloride"] - self.held("chloride", free["chloride"]) - bound)
        parts = self.species(ion, free)
        return ion / _gamma(self.metal.charge, self.ionic) + sum(c.metal * m for c, m in parts), solid


def in_solution(
    metal: str,
    ph: float,
    total_mg_l: float,
    *,
    chloride: float = 0.0,
    ammonia: float = 0.0,
    citrate: float = 0.0,
    salt: float = 0.1,
) -> Span:
    """mg/L of ``metal`` ("silver" or "copper") that stay dissolved at this pH, 25 °C, as (low, value, high).

    Parameters
    ----------
    total_mg_l
        All of the metal, dissolved or not. Copper is copper(II): in air. Liquids that touched iron, sugar or copper
        metal may hold copper(I) chloride beside it, some 5 mg/L at pH 9.5 (tests/data/vessel.csv).
    chloride, ammonia, citrate, salt
        mol/L in all; ``salt`` is the ionic strength of everything else.

    Returns
    -------
    The value takes complexes by the limiting law (the compilation's own way, the larger answer); the low end by Davies.

    Raises
    ------
    ValueError
        For another metal, a pH outside 0-14 or an amount below 0.
    """
    if metal not in G_MOL:
        raise ValueError(_("no constants for {metal}; there are {g_mol}", metal=metal, g_mol=", ".join(G_MOL)))
    if not 0.0 <= ph <= 14.0 or min(total_mg_l, chloride, ammonia, citrate, salt) < 0.0:
        raise ValueError(_("the pH lies between 0 and 14, no amount below 0"))
    table = _tables().metals[metal]
    total = total_mg_l / 1000.0 / G_MOL[metal]
    ionic = salt + max(0.0, chloride - (total if metal == "silver" else 0.0)) + 6.0 * citrate
    ligands = {"chloride": chloride, "ammonia": ammonia, "citrate": citrate}
    davies, limiting = (
        _dissolved(_Liquid(table, 10.0**-ph, ionic, ligands, law), ph, total) * G_MOL[metal] * 1000.0
        for law in (False, True)
    )
    low, value = sorted((davies, limiting))
    return low / 1.2, value, min(total_mg_l, 1.2 * value)


def _dissolved(liquid: _Liquid, ph: float, total: float) -> float:
    """mol/L in solution of ``total`` mol/L."""
    ceiling = 10.0 ** (liquid.metal.oxide - liquid.metal.charge * ph)  # of the free ion: above it oxide falls

    def over(log_ion: float) -> float:
        return sum(liquid.dissolved(math.exp(log_ion))) - total

    low, high = math.log(1e-30), math.log(min(ceiling, max(total, TINY) * 10.0))
    if over(high) > 0.0:
        high = brentq(over, low, high)
    return min(total, liquid.dissolved(math.exp(high))[0])


def soda_ph(acid: float, soda: float, *, gassing: bool) -> float:
    """pH of ``acid`` mol/L of strong acid with ``soda`` mol/L of baking soda.

    Parameters
    ----------
    gassing
        True where the carbon dioxide may leave until 0.1 atm of it stands over the liquid; False where all of it
        stays in (stirred into a full, closed vessel).

    Returns
    -------
    pH at 25 °C by the carbonate equilibria of ``water``.
    """
    if gassing:
        return float(ph_from_acid(acid - soda, co2_atm=GASSING_ATM, salt=min(acid, soda)))
    return float(ph_from_acid(acid - soda, total_carbon=soda, salt=min(acid, soda)))
