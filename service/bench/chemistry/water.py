"""pH of a rinse liquid from its acid minus its alkalinity: carbonate equilibria, activity, temperature.

A wash mixes acid (or lye) with rinse water. pH does not mix, but two quantities do: ``acid`` = strong acid minus
alkalinity (mol/L, negative in lye and in hard water) and the total dissolved carbonate. Their charge balance

    [H+] - [OH-] - [HCO3-] - 2 [CO3 2-] = acid

has one root in pH. Activities follow Davies as PHREEQC has it (from memory), log10 gamma =
-A z^2 (sqrt I / (1 + sqrt I) - 0.3 I), trusted to about 0.5 mol/L. Carbonate constants: Plummer and Busenberg 1982,
the analytic expressions of PHREEQC's phreeqc.dat. Complexes
(CaHCO3+, copper's) are left out: below 0.02 pH in the waters compared in the tests.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from stripread.words import _

Array = npt.NDArray[np.float64]

OUTDOOR_CO2_ATM = 420e-6  # partial pressure of CO2 outdoors; a closed room with people reaches 1000e-6


@dataclass(frozen=True)
class Constants:
    """log10 equilibrium constants at one temperature, infinite dilution, molal scale."""

    henry: float  # CO2(g) = CO2(aq), mol/(kg atm)
    k1: float  # CO2(aq) + H2O = H+ + HCO3-
    k2: float  # HCO3- = H+ + CO3 2-
    kw: float  # H2O = H+ + OH-
    debye: float  # A of the Debye-Hueckel law, decadic


@lru_cache(maxsize=64)
def constants(temp_c: float = 25.0) -> Constants:
    """Carbonate and water constants at ``temp_c`` (0 to 100 °C).

    Raises
    ------
    ValueError
        Outside 0-100 °C, where the expressions were not fitted.
    """
    if not 0.0 <= temp_c <= 100.0:
        raise ValueError(_("temperature {temp_c:g} °C is outside 0-100 °C", temp_c=temp_c))
    t = temp_c + 273.15
    lt = math.log10(t)
    k2 = -107.8871 - 0.03252849 * t + 5151.79 / t + 38.92561 * lt - 563713.9 / t**2
    k12 = 464.1965 + 0.09344813 * t - 26986.16 / t - 165.75951 * lt + 2248628.9 / t**2  # CO3 + 2 H = CO2 + H2O
    henry = 10.5624 - 2.3547e-2 * t - 3972.8 / t + 5.8746e5 / t**2 + 1.9194e-5 * t**2
    kw = 293.29227 + 0.1360833 * t - 10576.913 / t - 123.73158 * lt - 6.996455e-5 * t**2
    # Relative permittivity of water (Malmberg and Maryott 1956), density close to 1; A = 0.509 at 25 °C.
    eps = 87.740 - 0.40008 * temp_c + 9.398e-4 * temp_c**2 - 1.410e-6 * temp_c**3
    return Constants(henry, -k12 - k2, k2, kw, 1.8248e6 / (eps * t) ** 1.5)


def log_gamma(ionic_strength: npt.ArrayLike, charge: int = 1, temp_c: float = 25.0) -> Array:
    """Decadic log of the activity coefficient by Davies; any shape, that of ``ionic_strength`` (mol/L).

    Held constant above 0.5 mol/L, where the formula turns upward without reason.
    """
    i = np.clip(np.asarray(ionic_strength, float), 0.0, 0.5)
    root = np.sqrt(i)
    return np.asarray(-constants(temp_c).debye * charge**2 * (root / (1.0 + root) - 0.3 * i))


def ph_from_acid(
    acid: npt.ArrayLike,
    *,
    total_carbon: npt.ArrayLike | None = None,
    co2_atm: float | None = None,
    salt: npt.ArrayLike = 0.0,
    temp_c: float = 25.0,
) -> Array:
    """Solve the charge balance for pH.

    Parameters
    ----------
    acid
        Strong acid minus alkalinity, mol/L, any shape; negative means excess base.
    total_carbon
        Dissolved carbonate of all kinds, mol/L, broadcast with ``acid`` (a closed liquid). Not with ``co2_atm``.
    co2_atm
        CO2 pressure the liquid is in equilibrium with, atm (an open liquid).
    salt
        Ionic strength from salts beside the acid, mol/L.

    Returns
    -------
    pH, the shape of ``acid``.
    """
    a, extra = np.broadcast_arrays(np.asarray(acid, float), np.asarray(salt, float))
    c = constants(temp_c)
    gamma1 = 10.0 ** log_gamma(np.abs(a) + extra, 1, temp_c)
    carbon = np.broadcast_to(np.asarray(0.0 if total_carbon is None else total_carbon, float), a.shape)
    low = np.full(a.shape, -2.0)
    high = np.full(a.shape, 16.0)
    for _unused in range(48):  # 18 / 2^48: far below any rounding that matters
        ph = 0.5 * (low + high)
        h = 10.0**-ph
        one, two = _ratios(h, gamma1, c)
        # Molecular CO2: fixed by the air above, or what the total leaves.
        co2 = 10.0**c.henry * co2_atm if co2_atm is not None else carbon / (1.0 + one + two)
        balance = h / gamma1 - 10.0**c.kw / (h * gamma1) - co2 * (one + 2.0 * two) - a
        low = np.where(balance > 0, ph, low)  # balance falls as pH rises
        high = np.where(balance > 0, high, ph)
    return np.asarray(0.5 * (low + high))


def _ratios(h: Array, gamma1: Array, c: Constants) -> tuple[Array, Array]:
    """[HCO3-] and [CO3 2-] per [CO2] at H+ activity ``h``; the charge enters Davies squared, so gamma2 = gamma1^4."""
    return 10.0**c.k1 / (h * gamma1), 10.0 ** (c.k1 + c.k2) / (h * h * gamma1**4)


def carbon_at(ph: npt.ArrayLike, alkalinity: float, salt: float = 0.0, temp_c: float = 25.0) -> float:
    """Total dissolved carbonate (mol/L) of water with this pH and ``alkalinity`` (mol/L); 0 if it needs none."""
    c = constants(temp_c)
    h = np.asarray(10.0 ** -np.asarray(ph, float))
    g1 = 10.0 ** log_gamma(alkalinity + salt, 1, temp_c)
    one, two = _ratios(h, g1, c)
    from_carbon = alkalinity + h / g1 - 10.0**c.kw / (h * g1)
    return float(max(0.0, from_carbon * (1.0 + one + two) / (one + 2.0 * two)))


def carbon_open(
    acid: npt.ArrayLike, co2_atm: float = OUTDOOR_CO2_ATM, salt: float = 0.0, temp_c: float = 25.0
) -> Array:
    """Total carbonate (mol/L) of a liquid that stood open to air with CO2 pressure ``co2_atm``; any shape."""
    ph = ph_from_acid(acid, co2_atm=co2_atm, salt=salt, temp_c=temp_c)
    c = constants(temp_c)
    h = 10.0**-ph
    g1 = 10.0 ** log_gamma(np.abs(np.asarray(acid, float)) + salt, 1, temp_c)
    one, two = _ratios(h, g1, c)
    return np.asarray(10.0**c.henry * co2_atm * (1.0 + one + two))


@dataclass(frozen=True)
class RinseWater:
    """A rinse water by what mixes: alkalinity and total carbonate in mol/L, ionic strength of its salts, mol/L."""

    name: str
    alkalinity: float
    total_carbon: float
    salt: float = 0.0
    temp_c: float = 25.0

    def ph(self, exchange: float = 0.0) -> float:
        """The water's own pH; ``exchange`` 0 fresh from its bottle or tap, 1 after standing open to air."""
        return float(liquid_ph(0.0, 0.0, self, exchange))


def liquid_ph(strong: npt.ArrayLike, share: npt.ArrayLike, water: RinseWater, exchange: float = 0.0) -> Array:
    """pH of a liquid with ``strong`` mol/L of acid (negative: lye) left and the rest rinse water; any shape.

    Parameters
    ----------
    strong
        Strong acid still there, mol/L (negative for lye residues).
    share
        Share (0 to 1) of the liquid that is still the first liquid, so that 1 - share of it is rinse water.
    exchange
        How far the sample came to equilibrium with outdoor air before the strip: 0 closed, 1 open.
    """
    x, f = np.broadcast_arrays(np.asarray(strong, float), np.asarray(share, float))
    acid = x - (1.0 - f) * water.alkalinity
    carbon = (1.0 - f) * water.total_carbon
    if exchange > 0.0:
        carbon = (1.0 - exchange) * carbon + exchange * carbon_open(acid, salt=water.salt, temp_c=water.temp_c)
    return ph_from_acid(acid, total_carbon=carbon, salt=water.salt, temp_c=water.temp_c)


def pure_water(temp_c: float = 25.0) -> RinseWater:
    """Distilled or deionised water kept from the air."""
    return RinseWater("pure", 0.0, 0.0, temp_c=temp_c)


def aired_water(temp_c: float = 25.0, co2_atm: float = OUTDOOR_CO2_ATM) -> RinseWater:
    """Distilled, deionised or rain water that stood in air: pH about 5.6, and yet nothing wrong with it."""
    return RinseWater("air", 0.0, float(carbon_open(0.0, co2_atm, temp_c=temp_c)), temp_c=temp_c)


def tap_water(alkalinity: float, ph: float = 7.5, salt: float | None = None, temp_c: float = 25.0) -> RinseWater:
    """Tap water with ``alkalinity`` in mol/L (1 mmol/L = 50 mg/L as CaCO3 = 2.8 °dH of carbonate hardness).

    Raises
    ------
    ValueError
        For an alkalinity below 0 or above 0.05 mol/L (probably given in other units), or a pH outside 4-10.
    """
    if not 0.0 <= alkalinity <= 0.05:
        raise ValueError(
            _("alkalinity {alkalinity:g} mol/L is not a tap water's (0 to 0.05 mol/L)", alkalinity=alkalinity)
        )
    if not 4.0 <= ph <= 10.0:
        raise ValueError(_("pH {ph:g} is not a tap water's", ph=ph))
    ions = 1.5 * alkalinity + 5e-4 if salt is None else salt  # calcium bicarbonate and a little salt
    return RinseWater("tap", alkalinity, carbon_at(ph, alkalinity, ions, temp_c), ions, temp_c)
