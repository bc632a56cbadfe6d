"""Lamps over the bench: what colour each is and how its light is spread over the card."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.scenes.spectra import WAVELENGTHS, source, ultraviolet

Array = NDArray[np.float64]
CARD_CENTRE = np.array([74.0, 52.0])


@dataclass(frozen=True)
class Shadow:
    """An edge across the card: light on one side falls to ``1 - depth`` within about ``width_mm``."""

    at_mm: tuple[float, float]
    angle_deg: float  # direction into the shadow
    width_mm: float
    depth: float

    def light(self, xy: Array) -> Array:
        """Share of light left at points (..., 2)."""
        turn = np.radians(self.angle_deg)
        into = (xy[..., 0] - self.at_mm[0]) * np.cos(turn) + (xy[..., 1] - self.at_mm[1]) * np.sin(turn)
        return np.asarray(1.0 - self.depth / (1.0 + np.exp(np.clip(-4.0 * into / self.width_mm, -60, 60))))


@dataclass(frozen=True)
class Lamp:
    """One light.

    Attributes
    ----------
    spectrum : name for ``spectra.source``.
    weight : illuminance at the card's middle.
    at_mm : place above the card (x, y, z from the card's middle), or None for light from all round.
    slope : relative change of illuminance over 100 mm, x and y (for light from all round).
    bend : relative second-order change over (100 mm) squared, xx, xy, yy.
    shadow : an edge that takes this lamp's light away.
    wall : seed of a coloured surface that the light comes off, or None.
    """

    spectrum: str
    weight: float = 1.0
    at_mm: tuple[float, float, float] | None = None
    slope: tuple[float, float] = (0.0, 0.0)
    bend: tuple[float, float, float] = (0.0, 0.0, 0.0)
    shadow: Shadow | None = None
    wall: int | None = None

    def power(self) -> Array:
        """Spectral power at the card's middle, shape (31,)."""
        power = source(self.spectrum)
        if self.wall is not None:
            rng = np.random.default_rng([self.wall, 6])
            centre, sign = rng.uniform(450, 650), rng.choice([-1, 1])
            wall = 0.08 + 0.85 / (1 + np.exp(-sign * (WAVELENGTHS - centre) / 15))
            power = power * wall
        return np.asarray(self.weight * power)

    def glow(self) -> float:
        """Strength of the brightener's glow under this lamp, daylight = 1."""
        return 0.0 if self.wall is not None else ultraviolet(self.spectrum)

    def field(self, xy: Array, height: Array | float = 0.0, normal: Array | None = None) -> Array:
        """Illuminance at points on the card (..., 2), 1 at its middle when flat and unshaded.

        A lamp falls off with the square of the distance and the cosine at the surface (whose ``normal`` (..., 3) tilts
        where the card curls); light from all round is a low-order polynomial.
        """
        d = xy - CARD_CENTRE
        if self.at_mm is None:
            u, v = d[..., 0] / 100, d[..., 1] / 100
            e = 1 + self.slope[0] * u + self.slope[1] * v
            e = e + self.bend[0] * u * u + self.bend[1] * u * v + self.bend[2] * v * v
        else:
            lx, ly, lz = self.at_mm[0] - d[..., 0], self.at_mm[1] - d[..., 1], self.at_mm[2] - height
            r2 = lx * lx + ly * ly + lz * lz
            towards = lz if normal is None else lx * normal[..., 0] + ly * normal[..., 1] + lz * normal[..., 2]
            r0 = np.sqrt(np.sum(np.square(self.at_mm)))
            e = (np.clip(towards, 0, None) / r2**1.5) * r0**3 / self.at_mm[2]
        e = np.clip(e, 0.05, 6.0)
        return np.asarray(e if self.shadow is None else e * self.shadow.light(xy))

    @property
    def sharp(self) -> bool:
        """Whether the field needs every raster cell (a hard shadow) rather than a coarse grid."""
        return self.shadow is not None and self.shadow.width_mm < 20.0
