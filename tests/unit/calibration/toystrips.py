"""Made-up strips by their spectra (31 bands), and photos of them: what the three-channel fit is tested against.

Two dyes or more a pad, each with an acid and a basic band; Kubelka-Munk for every wavelength; CIELAB by summing the
spectrum with the CIE observer. Lots, strips, photo scatter and noise are drawn at random with known sizes.
"""

import numpy as np

from calibration.known_pads import KnownPads
from stripread.colour import WHITE_D50, xyz_to_lab
from stripread.kind import Pad, StripKind
from stripread.ph.kubelka import absorption, reflectance
from tests.scenes.spectra import WAVELENGTHS, gaussian, observer, source

_TO_XYZ = source("D50")[:, None] * observer()
_TO_XYZ = _TO_XYZ / _TO_XYZ.sum(axis=0) * WHITE_D50
_PAPER = absorption(0.88 - 0.06 * np.exp(-(WAVELENGTHS - 400) / 50))
CHANNELS = np.array([0.8, 1.0, 1.2])  # photo scatter in L, a, b


def kind_of(pads, low=0.0, high=14.0):
    return StripKind("toy", 6.0, 75.0, tuple(Pad(2.0 + 8.0 * p, 6.0) for p in range(pads)), (low, high))


class Toy:
    """A strip; ``dyes`` per pad: (pKa, acid band, basic band), a band being (nm, width nm, strength)."""

    def __init__(self, dyes):
        self.dyes = dyes

    @classmethod
    def random(cls, seed, pads=3):
        rng = np.random.default_rng([seed, 1])

        def dye():
            acid = (rng.uniform(420, 520), rng.uniform(30, 42), rng.uniform(0.1, 1.5))
            basic = (rng.uniform(500, 630), rng.uniform(30, 42), rng.uniform(0.4, 2.5))
            return rng.uniform(1.0, 13.0), acid, basic

        return cls([[dye() for _ in range(rng.integers(2, 5))] for _ in range(pads)])

    def lab(self, ph, strip=0):
        """CIELAB (P, 3) of one strip; strip 0 is the mean of its lot."""
        rng = np.random.default_rng([strip, 2])
        rows = []
        for dyes in self.dyes:
            load = np.exp(0.02 * rng.normal()) if strip else 1.0
            shift = 0.015 * rng.normal() if strip else 0.0
            k = _PAPER.copy()
            for pka, acid, basic in dyes:
                passed = 1 / (1 + 10 ** (pka + shift - ph))
                for share, (nm, width, strength) in ((1 - passed, acid), (passed, basic)):
                    k = k + load * share * strength * gaussian(nm, width)
            rows.append(xyz_to_lab(reflectance(k) @ _TO_XYZ))
        return np.array(rows)

    def curve(self, ph):
        return np.array([self.lab(x) for x in ph])


def photos(toy, ph, per, seed, *, common=1.2, own=0.5, noise=0.4, ph_sd=0.02):
    """``per`` photos at each pH, each of a strip of its own; the buffer's error is shared by its photos."""
    rng = np.random.default_rng([seed, 3])
    out = []
    for nominal in ph:
        true = nominal + ph_sd * rng.normal()
        for _ in range(per):
            lab, cov = shot(toy, true, rng, common=common, own=own, noise=noise)
            out.append(KnownPads(lab, cov, float(nominal), ph_sd, f"{len(out):064x}", f"{len(out)}.jpg"))
    return out


def shot(toy, ph, rng, *, common=1.2, own=0.5, noise=0.4):
    """One photo: CIELAB (P, 3) and the covariance that its own stages would claim (noise alone)."""
    lab = toy.lab(ph, int(rng.integers(1, 1 << 30)))
    pads = len(lab)
    lab = lab + CHANNELS * (common * rng.normal(size=3) + own * rng.normal(size=(pads, 3)))
    return lab + noise * rng.normal(size=(pads, 3)), noise**2 * np.eye(3 * pads)
