"""Home printers and their paper: the reflectance that comes out for an sRGB value sent to an unmanaged driver.

Halftones follow the Yule-Nielsen modified Neugebauer model over cyan, magenta, yellow and black; inks, tone, dot gain,
black generation and paper differ from printer to printer, and a little from sheet to sheet. In a measured world the
colours are those of a measured print condition, and only the spectra's shape and the driver are made up.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from itertools import product

import numpy as np
from numpy.typing import NDArray

from tests.scenes.measured import World
from tests.scenes.printed import bent, conditions, printed_xyz
from tests.scenes.spectra import WAVELENGTHS, gaussian, true_lab

Array = NDArray[np.float64]
BRIGHTENER = gaussian(442.0, 16.0)


@dataclass(frozen=True)
class Printer:
    """One printer with one paper. Densities are decadic, of a solid, light passing twice."""

    paper: Array  # reflectance (31,) without the brightener's glow
    brightener: float  # glow at its peak under daylight, as reflectance
    inks: Array  # densities of the solids C, M, Y, K, shape (4, 31)
    n_factor: float  # Yule-Nielsen n
    tone: Array  # dots sent for ink asked in even steps from 0 to 1: the driver's rough linearisation
    gamma: tuple[float, float, float, float]  # what is wrong with it for each ink: dot ** gamma
    gain: float  # dot gain at 50 %
    black: float  # how late black ink takes over from C, M and Y: black dot = (common ink) ** black
    twist: Array  # driver's colour matrix on CMY, (3, 3)
    grey_only: bool
    grain: float  # local noise of ink amount (relative)
    drift: float  # smooth variation of ink amount over one sheet (relative)
    condition: str | None = None  # measured print condition that it prints like
    first: Printer | None = None  # the printer on the day when it printed just like that

    @classmethod
    @lru_cache(maxsize=64)
    def from_seed(cls, seed: int, grey_only: bool = False, world: World = "made-up") -> Printer:
        """A printer drawn from the population of home inkjets and lasers; in a measured world with measured colours."""
        rng = np.random.default_rng([seed, 1])
        laser = bool(rng.random() < 0.45)
        height = rng.uniform(0.82, 0.93)
        yellowing = rng.uniform(0.0, 0.10)
        paper = height * (1.0 - yellowing * np.exp(-(WAVELENGTHS - 400.0) / 60.0)) * (1 + 2e-5 * (WAVELENGTHS - 550))
        strength = rng.uniform(1.0, 1.6) if laser else rng.uniform(0.75, 1.25)
        cyan = gaussian(645 + rng.normal(0, 8), rng.uniform(55, 70)) + rng.uniform(0.06, 0.16)
        magenta = gaussian(548 + rng.normal(0, 6), rng.uniform(34, 44)) + rng.uniform(0.25, 0.4) * gaussian(430, 40)
        yellow = gaussian(430 + rng.normal(0, 5), rng.uniform(38, 48)) + rng.uniform(0.02, 0.05)
        black = np.ones_like(WAVELENGTHS) * (1 + rng.normal(0, 0.06) * (WAVELENGTHS - 550) / 150)
        inks = np.stack([cyan, magenta + 0.03, yellow, black])
        inks *= strength * np.exp(rng.normal(0, 0.08, (4, 1)))
        inks[3] *= rng.uniform(1.3, 1.7) / strength if laser else rng.uniform(1.05, 1.4) / strength
        printer = cls(
            paper=paper,
            brightener=float(rng.choice([0.0, 1.0], p=[0.2, 0.8]) * rng.uniform(0.02, 0.13)),
            inks=inks,
            n_factor=rng.uniform(1.6, 2.8),
            tone=np.linspace(0, 1, 33),
            gamma=(1.0, 1.0, 1.0, 1.0),
            gain=rng.uniform(0.08, 0.22),
            black=rng.uniform(1.1, 2.0) if laser else rng.uniform(1.6, 5.0),
            twist=np.eye(3) + rng.normal(0, 0.035, (3, 3)) * (1 - np.eye(3)),
            grey_only=grey_only,
            grain=rng.uniform(0.015, 0.05),
            drift=rng.uniform(0.0, 0.02),
        )
        if world != "made-up":
            own = np.random.default_rng([seed, 79])
            printer = replace(printer, condition=str(own.choice(conditions(world))))
        gamma = np.exp(rng.normal(0, 0.06, 4))
        return replace(printer, tone=printer._linearised(rng.uniform(0.8, 1.25)), gamma=tuple(map(float, gamma)))

    def _linearised(self, bend: float) -> Array:
        """Dots that print greys about evenly in lightness between paper and black, bent by the driver's own taste."""
        steps = np.linspace(0, 1, 33)
        lightness = true_lab(self.reflectance(1 - np.repeat(steps[:, None], 3, axis=1)))[:, 0]
        lightness = np.minimum.accumulate(lightness) - 1e-6 * np.arange(33)
        wanted = lightness[-1] + (lightness[0] - lightness[-1]) * (1 - steps) ** bend
        return np.asarray(np.interp(-wanted, -lightness, steps))

    def sheet(self, seed: int) -> Printer:
        """The same printer on another sheet or another day: about 1 to 2 units of CIELAB away."""
        rng = np.random.default_rng([seed, 2])
        inks = self.inks * np.exp(rng.normal(0, 0.035, (4, 1)))
        return replace(
            self,
            first=self.first or self,
            inks=inks,
            gain=self.gain + rng.normal(0, 0.015),
            paper=self.paper * np.exp(rng.normal(0, 0.004)),
            brightener=self.brightener * np.exp(rng.normal(0, 0.05)),
        )

    def sent(self, srgb: Array) -> Array:
        """Dots of C, M, Y, K that the driver sends for sRGB in 0 to 1, shape (N, 3) -> (N, 4)."""
        rgb = np.atleast_2d(np.asarray(srgb, dtype=float))
        if self.grey_only:
            rgb = np.repeat(rgb @ np.array([[0.299], [0.587], [0.114]]), 3, axis=1)
        ink = np.interp(1.0 - rgb, np.linspace(0, 1, 33), self.tone)
        common = ink.min(axis=1, keepdims=True)
        black = common if self.grey_only else common**self.black
        colour = np.zeros_like(ink) if self.grey_only else np.clip((ink - 0.8 * black) @ self.twist.T, 0, 1)
        if not self.grey_only:
            colour[(ink == 0).all(axis=1)] = 0.0
        return np.asarray(np.clip(np.concatenate([colour, black], axis=1), 0.0, 1.0) ** np.array(self.gamma))

    def dots(self, srgb: Array) -> Array:
        """Effective dot areas of C, M, Y, K for sRGB in 0 to 1, shape (N, 3) -> (N, 4)."""
        dots = self.sent(srgb)
        dots = np.clip(dots + 4 * self.gain * dots * (1 - dots), 0, 1)
        limit = 3.0 / np.maximum(dots.sum(axis=1, keepdims=True), 3.0)  # the driver's ink limit
        return np.asarray(dots * limit)

    def reflectance(self, srgb: Array, ink: float = 1.0) -> Array:
        """Reflectance of printed patches without brightener, shape (N, 31); ``ink`` scales the dot areas."""
        made = self._made_up(srgb, ink)
        if self.condition is None:
            return made
        # What the colours of that day ask for stays; what has changed since (ink, gain, paper) changes by the model.
        first = self.first or self
        measured = printed_xyz(self.condition, first.sent(srgb))
        return np.asarray(made * bent(first._made_up(srgb, 1.0), measured))

    def _made_up(self, srgb: Array, ink: float) -> Array:
        """Reflectance by the model alone, shape (N, 31)."""
        dots = np.clip(self.dots(srgb) * ink, 0, 1)
        total = np.zeros((len(dots), len(WAVELENGTHS)))
        for on in product((0, 1), repeat=4):
            flags = np.array(on)
            weight = np.prod(np.where(flags, dots, 1 - dots), axis=1)
            # overprints trap: a stack of solids is a little lighter than the densities' sum
            density = (flags[:, None] * self.inks).sum(axis=0) * (1 - 0.06 * max(flags.sum() - 1, 0))
            solid = self.paper * 10**-density
            total += weight[:, None] * solid[None] ** (1 / self.n_factor)
        mixed = total**self.n_factor
        surface = 0.006 + 0.004 * (self.n_factor - 1.6)  # stray light off the surface keeps blacks from being black
        return np.asarray(mixed * (1 - surface) + surface)

    def glow(self, reflectance: Array) -> Array:
        """Brightener's glow under daylight of printed patches, as reflectance, shape (N, 31)."""
        through = np.clip(reflectance / self.paper, 0, 1)
        blue = through[:, :9].mean(axis=1, keepdims=True)  # ink also takes the ultraviolet on its way in
        return np.asarray(self.brightener * blue * through * BRIGHTENER)
