"""Made-up spectra for the design of the card: dyes on paper, copper tints, oxides, home printers, cameras, lights.

Only the design of the card uses them (``tests/design_card.py``): they say where in colour space strips and tints lie
and what ordinary printers do to a patch. Bands are Gaussians over wavenumber; colours on paper follow Kubelka-Munk.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import colour
import numpy as np
from scipy.spatial import cKDTree

from stripread.colour import WHITE_D50, rgb_to_lab, srgb_decode, xyz_to_lab

NM = np.arange(400.0, 701.0, 10.0)

# name, pKa, band maxima of the acid and the base form (nm; 0: colourless). pKa from tables of indicators at
# https://unseel.com/chemistry/acid-base-indicators.html and https://monomole.com/?p=1140, the others middle of the
# transition range in http://www.easychem.com.au/the-acidic-environment/indicators/Common-Indicators; band maxima
# from memory (they only have to put the colours into the right region).
INDICATORS = (
    ("cresol red, acid step", 1.0, 518, 434),
    ("thymol blue, acid step", 1.65, 544, 430),
    ("methyl yellow", 3.4, 508, 448),
    ("methyl orange", 3.7, 508, 464),
    ("bromophenol blue", 3.85, 436, 592),
    ("bromocresol green", 4.66, 444, 617),
    ("methyl red", 5.1, 523, 435),
    ("chlorophenol red", 6.0, 433, 573),
    ("bromocresol purple", 6.3, 433, 588),
    ("litmus", 6.5, 520, 600),
    ("bromothymol blue", 7.1, 433, 617),
    ("phenol red", 7.4, 433, 558),
    ("neutral red", 7.4, 533, 453),
    ("cresol red", 8.2, 434, 572),
    ("thymol blue", 8.96, 430, 596),
    ("phenolphthalein", 9.3, 0, 553),
    ("thymolphthalein", 9.9, 0, 595),
    ("alizarin yellow R", 11.0, 373, 495),
)


def band(peak_nm: float, half_width_cm: float = 1900.0) -> np.ndarray:
    """A Gaussian absorption band of height 1 over ``NM``, its width given in wavenumbers (1/cm)."""
    if peak_nm == 0:
        return np.zeros_like(NM)
    return np.exp(-np.log(2.0) * ((1e7 / NM - 1e7 / peak_nm) / half_width_cm) ** 2)


def on_paper(ks: np.ndarray) -> np.ndarray:
    """Kubelka-Munk: reflectance of an opaque layer from K/S."""
    return 1.0 + ks - np.sqrt(ks**2 + 2.0 * ks)


@cache
def _observer() -> np.ndarray:
    """Weights (31, 3) that turn reflectance into XYZ under D50, a perfect white giving ``WHITE_D50``."""
    observer = colour.MSDS_CMFS["CIE 1931 2 Degree Standard Observer"].copy()
    matching = observer.align(colour.SpectralShape(400, 700, 10)).values
    light = colour.SDS_ILLUMINANTS["D50"].copy().align(colour.SpectralShape(400, 700, 10)).values
    weights = matching * light[:, None]
    return weights / weights.sum(axis=0) * WHITE_D50


def lab_of(reflectance: np.ndarray) -> np.ndarray:
    """CIELAB D50 of reflectances (..., 31)."""
    return xyz_to_lab(reflectance @ _observer())


def targets(rng: np.random.Generator, count: int = 320) -> np.ndarray:
    """Spectra (count, 31) of what will be read: pads at any pH, copper tints, oxides with pale grains."""
    paper = 0.86 - 0.06 * band(400, 3000)
    paper_ks = (1 - paper) ** 2 / (2 * paper)
    spectra = []
    for n in range(count):
        if n % 10 == 8:  # copper ammine over white: light passes the liquid twice
            absorbance = 10 ** rng.uniform(-2.0, 0.0)
            spectra.append(paper * 10 ** (-2 * absorbance * band(610, 2600)))
        elif n % 10 == 9:  # oxide: browns to near black, some with pale chloride between the grains
            dark = on_paper(10 ** rng.uniform(-0.5, 1.5) * np.exp(-(NM - 400) / rng.uniform(80, 600)) + 0.1)
            pale = rng.choice([0.0, rng.uniform(0, 0.7)])
            spectra.append((1 - pale) * dark + pale * paper)
        else:  # one to four dyes in one pad
            ph, ks = rng.uniform(0, 14), paper_ks.copy()
            for i in rng.choice(len(INDICATORS), rng.integers(1, 5), replace=False):
                _, pka, acid, base = INDICATORS[i]
                share = 1 / (1 + 10 ** (pka - ph))
                strength = 10 ** rng.uniform(-0.5, 0.7)
                ks = ks + strength * ((1 - share) * 0.6 * band(acid, 2300) + share * band(base, 1700))
            spectra.append(on_paper(ks))
    return np.array(spectra)


@dataclass(frozen=True)
class Printer:
    """A printer as the spectra (N, 31) it can lay down, their CIELAB and a search tree over that."""

    spectra: np.ndarray
    lab: np.ndarray
    tree: cKDTree
    managed: bool

    @staticmethod
    def made_up(rng: np.random.Generator, *, managed: bool) -> Printer:
        """Draw inks, paper, dot gain and black; the cube of ink amounts is computed once."""
        paper = rng.uniform(0.82, 0.92) - rng.uniform(0.0, 0.06) * band(400, 2500)
        paper = paper + rng.uniform(0.0, 0.04) * band(440, 1200)  # brightener
        cyan, magenta, yellow = rng.normal(622, 8), rng.normal(538, 6), rng.normal(440, 8)
        shapes = (
            np.where(cyan < NM, 1.0, band(cyan, 2000)) + 0.06 * band(430, 4000),  # a plateau towards the red
            band(magenta, 2000) + rng.uniform(0.1, 0.3) * band(440, 2500),
            band(yellow, 2600) + 0.03 * band(560, 2500),
        )
        inks = [strength * shape for strength, shape in zip(rng.uniform(1.0, 1.5, 3), shapes, strict=True)]
        gain, share = rng.uniform(0.75, 1.0), rng.uniform(0.3, 0.9)
        levels = np.linspace(0, 1, 21) ** gain
        cmy = np.stack(np.meshgrid(levels, levels, levels, indexing="ij"), axis=-1).reshape(-1, 3)
        black = share * cmy.min(axis=1, keepdims=True) ** 1.5
        density = sum((cmy[:, j : j + 1] - 0.6 * black) * inks[j] for j in range(3)) + 1.2 * black
        flare = rng.uniform(0.01, 0.03)  # the surface, which no ink can darken
        spectra = (1 - flare) * paper * 10**-density + flare
        lab = lab_of(spectra)
        return Printer(spectra, lab, cKDTree(lab), managed)

    def wanted(self, srgb: np.ndarray) -> np.ndarray:
        """CIELAB (N, 3) that a managed print aims at: sRGB scaled between this paper's white and its own black."""
        lab = rgb_to_lab(srgb_decode(srgb))
        white, black = self.lab[0], self.lab[-1]
        lightness = lab[:, :1] / 100.0
        return black * (1 - lightness) + white * lightness + lab * [0, 0.9, 0.9]

    def misses(self, srgb: np.ndarray) -> np.ndarray:
        """How far (Delta E*ab) each colour lies outside of what the inks can do, shape (N,)."""
        return self.tree.query(self.wanted(srgb))[0]

    def printed(self, srgb: np.ndarray) -> np.ndarray:
        """Spectra (N, 31) of sRGB values (N, 3), 0 to 1."""
        if self.managed:
            return self.spectra[self.tree.query(self.wanted(srgb))[1]]
        steps = np.rint((1 - srgb) * 20).astype(int)
        return self.spectra[steps @ [441, 21, 1]]


def camera(rng: np.random.Generator) -> np.ndarray:
    """Weights (31, 3) from reflectance to a camera's RGB under a drawn light, a perfect white giving 1."""
    lights = [
        colour.SDS_ILLUMINANTS[name].copy().align(colour.SpectralShape(400, 700, 10)).values
        for name in ("D50", "D65", "A", "FL2", "LED-B3")
    ]
    light = lights[rng.integers(len(lights))]
    width = 2.355
    weights = np.stack(
        [
            np.exp(-0.5 * ((NM - rng.normal(peak, 6)) / (fwhm / width)) ** 2)
            for peak, fwhm in ((600, 80), (540, 95), (460, 75))
        ],
        axis=1,
    )
    weights = weights * light[:, None]
    return weights / weights.sum(axis=0)
