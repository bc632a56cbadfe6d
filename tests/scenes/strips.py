"""Indicator strips: dyes by Henderson-Hasselbalch, their absorption on paper by Kubelka-Munk, lots and single strips.

pKa values are those of ``tests/data/indicators.csv`` where it has one. Band positions are textbook absorption maxima,
from memory; they need to be plausible, not exact, since no reader is tuned to them.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stripread.kind import StripKind, load_kind
from tests.scenes.spectra import WAVELENGTHS, gaussian

Array = NDArray[np.float64]
KINDS = Path(__file__).parent / "kinds"
Band = tuple[float, float, float]  # centre nm, standard deviation nm, strength


@dataclass(frozen=True)
class Dye:
    """Forms from most acid to most basic, each a list of bands, and the pKa between neighbours."""

    pka: tuple[float, ...]
    forms: tuple[tuple[Band, ...], ...]

    def spectrum(self, ph: float, shift: float = 0.0) -> Array:
        """Absorptivity at a pH, shape (31,); ``shift`` moves every pKa."""
        weights = [1.0]
        for pka in self.pka:
            weights.append(weights[-1] * 10.0 ** (ph - pka - shift))
        share = np.array(weights) / np.sum(weights)
        bands = [sum((h * gaussian(c, w) for c, w, h in form), np.zeros_like(WAVELENGTHS)) for form in self.forms]
        return np.asarray(share @ np.array(bands))


DYES = {
    "cresol red": Dye((1.0, 8.2), (((518, 30, 1.1),), ((434, 36, 0.6),), ((572, 32, 1.1),))),
    "thymol blue": Dye((1.65, 8.96), (((544, 32, 1.0),), ((436, 36, 0.55),), ((596, 38, 0.9),))),
    "methyl orange": Dye((3.7,), (((508, 36, 1.0),), ((464, 38, 0.65),))),
    "bromophenol blue": Dye((3.85,), (((432, 36, 0.5),), ((592, 30, 1.3),))),
    "bromocresol green": Dye((4.66,), (((444, 36, 0.5),), ((617, 36, 1.0), (400, 20, 0.2)))),
    "methyl red": Dye((5.1,), (((523, 36, 1.0),), ((430, 40, 0.55),))),
    "bromocresol purple": Dye((6.3,), (((433, 36, 0.5),), ((589, 32, 1.2),))),
    "bromothymol blue": Dye((7.1,), (((433, 36, 0.6),), ((617, 38, 0.9),))),
    "phenol red": Dye((7.4,), (((433, 36, 0.6),), ((559, 28, 1.2),))),
    "phenolphthalein": Dye((9.4,), ((), ((552, 28, 1.1), (515, 25, 0.3)))),
    "thymolphthalein": Dye((9.9,), ((), ((595, 36, 1.1),))),
    "alizarin yellow": Dye((11.0,), (((392, 34, 0.7),), ((492, 42, 0.8),))),
    "tropaeolin": Dye((11.8,), (((420, 40, 0.4),), ((492, 42, 1.0),))),  # range 11-12.7, from memory
    "indigo carmine": Dye((12.2,), (((610, 36, 0.9),), ((440, 42, 0.6),))),  # range 11.4-13, from memory
    "nitro orange": Dye((13.2,), ((), ((475, 45, 0.9),))),  # a nitro compound that turns above 12, from memory
}


@dataclass(frozen=True)
class Recipe:
    """What is on a kind's pads: for each pad the dyes and their loads (K/S at unit absorptivity)."""

    pads: tuple[dict[str, float], ...]
    dry_ph: tuple[float, ...]  # how the unwetted pads are set by the maker's own acid or base
    carrier: bool = True  # white plastic, else the paper itself is the strip


RECIPES = {
    "four": Recipe(
        (
            {"cresol red": 0.9, "methyl orange": 0.5, "alizarin yellow": 0.3, "nitro orange": 1.0},
            {"thymol blue": 0.9, "bromocresol green": 0.8, "thymolphthalein": 0.5},
            {"methyl red": 0.7, "bromothymol blue": 0.9, "alizarin yellow": 0.8},
            {"bromocresol purple": 0.5, "phenol red": 0.7, "indigo carmine": 0.9},
        ),
        (6.0, 3.0, 7.5, 5.0),
    ),
    "universal": Recipe(
        (
            {
                "cresol red": 0.4,
                "thymol blue": 0.8,
                "methyl orange": 0.3,
                "bromothymol blue": 1.0,
                "phenolphthalein": 0.6,
                "tropaeolin": 0.3,
                "nitro orange": 0.5,
            },
        ),
        (5.0,),
    ),
    "bromothymol": Recipe(({"bromothymol blue": 1.4},), (5.0,)),
    "three": Recipe(
        (
            {"bromocresol green": 1.1, "phenolphthalein": 0.4},
            {"methyl red": 0.9, "phenol red": 0.6},
            {"bromothymol blue": 1.0, "cresol red": 0.5},
        ),
        (7.0, 7.0, 5.0),
    ),
    "roll": Recipe(
        (
            {
                "methyl orange": 0.3,
                "methyl red": 0.35,
                "bromothymol blue": 0.9,
                "phenolphthalein": 0.6,
                "cresol red": 0.3,
            },
        ),
        (6.0,),
        carrier=False,
    ),
}
ALIEN = Dye((), (((500, 45, 1.0), (640, 30, 0.5)),))  # a liquid's own colour or a dye that no strip has


@cache
def kind(name: str) -> StripKind:
    """The strip kind whose TOML file lies in ``tests/scenes/kinds``."""
    return load_kind(KINDS / f"{name}.toml")


@dataclass(frozen=True)
class StripState:
    """One strip as it came out of the bottle and the liquid."""

    kind: str
    ph: float
    lot_seed: int = 0
    strip_seed: int = 0
    wet: bool = True
    alien: float = 0.0  # load of a foreign colour
    drying: float = 0.0  # 0 fresh, 1 long out of the liquid: dye has crept to the pads' edges
    front: float = 0.0  # dye carried along: relative difference of load from a pad's dipped end to its other
    bend: float = 0.0  # how much more light one end of a bent strip gets than its middle
    through: float = 0.0  # share of the pads' light that comes back from what lies below
    cut_mm: float = 0.0  # how much was cut off its handle

    def _draws(self) -> tuple[Array, Array, float]:
        """Factor on each pad's loads (P, D), shift of each pKa (P, D) and paper's lightness, lot and strip together."""
        recipe = RECIPES[self.kind]
        most = max(len(p) for p in recipe.pads)
        lot = np.random.default_rng([self.lot_seed, 3])
        own = np.random.default_rng([self.lot_seed, self.strip_seed, 4])
        shape = (len(recipe.pads), most)
        # dyes of a pad come out of one bath: a lot's common factor, and a smaller one for each dye
        load = np.exp(
            lot.normal(0, 0.03, (shape[0], 1)) + lot.normal(0, 0.02, shape) + own.normal(0, 0.02, (shape[0], 1))
        )
        shift = lot.normal(0, 0.03, shape) + own.normal(0, 0.01, (shape[0], 1))
        return load, shift, float(np.exp(lot.normal(0, 0.01) + own.normal(0, 0.004)))

    def pad_spectra(self, strength: float = 1.0) -> Array:
        """Reflectance of the pads, shape (P, 31); ``strength`` scales the load (mottle, wet edge)."""
        load, shift, lightness = self._draws()
        recipe = RECIPES[self.kind]
        rows = []
        for p, dyes in enumerate(recipe.pads):
            ph = self.ph if self.wet else recipe.dry_ph[p]
            k_over_s = paper_k_over_s(lightness)
            for d, (name, amount) in enumerate(dyes.items()):
                amount_here = amount * load[p, d] * strength * (1.0 if self.wet else 0.5)
                k_over_s = k_over_s + 3.0 * amount_here * DYES[name].spectrum(ph, shift[p, d])
            k_over_s = k_over_s + 3.0 * self.alien * ALIEN.spectrum(7.0)
            rows.append(from_k_over_s(k_over_s, self.wet))
        pads = np.array(rows)
        return np.asarray(pads + self.through * (carrier_spectrum(self.lot_seed) - pads))


def paper_k_over_s(lightness: float) -> Array:
    """Undyed indicator paper: a trace of absorption, more in the blue."""
    return np.asarray((0.012 + 0.03 * np.exp(-(WAVELENGTHS - 400) / 50)) / lightness**4)


def from_k_over_s(k_over_s: Array, wet: bool) -> Array:
    """Kubelka-Munk reflectance, then Saunderson's loss at the inner surface of the film of liquid when wet."""
    inner = 1 + k_over_s - np.sqrt(k_over_s**2 + 2 * k_over_s)
    if not wet:
        return np.asarray(0.96 * inner + 0.005)
    k1, k2 = 0.03, 0.35
    return np.asarray((1 - k1) * (1 - k2) * inner / (1 - k2 * inner) + 0.004)


def carrier_spectrum(seed: int) -> Array:
    """White plastic of a strip's handle, shape (31,)."""
    rng = np.random.default_rng([seed, 5])
    return np.asarray(rng.uniform(0.80, 0.90) * (1 - rng.uniform(0.0, 0.06) * np.exp(-(WAVELENGTHS - 400) / 40)))
