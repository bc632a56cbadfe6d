"""The forward model of a strip: the colours its pads should show at a pH, and how sure that is.

Three doubts are kept apart. The *curve* itself is known only from so many photos (``curve_cov``). One photo misses it
by what the card can't correct (``scatter``: dye and ink look different under another lamp). And one strip differs from
another (``lot``: a little more dye, a transition a little shifted).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.ph.kubelka import lab_by_light, lab_by_load
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.kind import StripKind

Array = NDArray[np.float64]

_TUNED = tuned("stripread.ph")


@dataclass(frozen=True)
class Scatter:
    """Standard deviation of one photo about the curve in L, a, b: shared by all its pads, and each pad's own."""

    common: tuple[float, float, float]
    own: tuple[float, float, float]

    def widened(self, scale: float) -> Scatter:
        """Variances times ``scale``."""
        c, o = (np.sqrt(scale) * np.array(sd) for sd in (self.common, self.own))
        return Scatter((float(c[0]), float(c[1]), float(c[2])), (float(o[0]), float(o[1]), float(o[2])))

    def cov(self, pads: int) -> Array:
        """Covariance (3P, 3P)."""
        shared = np.kron(np.ones((pads, pads)), np.diag(np.square(self.common)))
        return np.asarray(shared + np.kron(np.eye(pads), np.diag(np.square(self.own))))


@dataclass(frozen=True)
class Lot:
    """How strips differ, as standard deviations of one pad.

    shift: of its transitions, in pH. load: of its dye, relative. lightness: of its paper, in L*. through: the share of
    light that comes through the dye from what lies below, alike for all pads of a strip. The default is what strips are
    taken to do from bottle to bottle; calibration photos of one bottle can't tell.
    """

    shift: float = _TUNED.number("lot_shift")
    load: float = _TUNED.number("lot_load")
    lightness: float = _TUNED.number("lot_lightness")
    through: float = _TUNED.number("lot_through")


@dataclass(frozen=True)
class StripCurve:
    """Pad colours against pH, on a grid.

    Parameters
    ----------
    ph, lab
        Grid (N,), rising, and the pads' CIELAB on it (N, P, 3).
    cov_ph, cov_factor
        A coarser grid (M,) and on it a lower-triangular factor F (M, 3P, 3P) of the curve's covariance F F'.
    scatter, lot
        What photos and strips add.
    """

    ph: Array
    lab: Array
    cov_ph: Array
    cov_factor: Array
    scatter: Scatter
    lot: Lot

    @property
    def pads(self) -> int:
        """Number of pads P."""
        return int(self.lab.shape[1])

    def curve(self, ph: Array) -> Array:
        """Expected CIELAB at pH (N,): (N, P, 3). Beyond the grid the end is held."""
        return _between(self.ph, self.lab, ph)

    def curve_cov(self, ph: Array) -> Array:
        """Covariance of the curve itself at pH (N,): (N, 3P, 3P)."""
        return _between(self.cov_ph, self._cov, ph)

    def scatter_cov(self) -> Array:
        """Covariance of one photo about the curve, the same at every pH: (3P, 3P)."""
        return self.scatter.cov(self.pads)

    def strip_cov(self, ph: Array) -> Array:
        """Covariance of one strip about the curve at pH (N,): (N, 3P, 3P). Pads vary independently, but for light
        that comes through them."""
        slope, lab = _between(self.ph, self._slope, ph), self.curve(ph)
        load, through = lab_by_load(lab), self.lot.through * lab_by_light(lab).reshape(len(slope), -1)
        light = np.array([1.0, 0.0, 0.0]) * self.lot.lightness
        out = through[:, :, None] * through[:, None, :]
        for p in range(self.pads):
            block = slice(3 * p, 3 * p + 3)
            for sd, way in ((self.lot.shift, slope[:, p]), (self.lot.load, load[:, p])):
                out[:, block, block] += sd**2 * way[:, :, None] * way[:, None, :]
            out[:, block, block] += np.outer(light, light)
        return out

    @cached_property
    def _cov(self) -> Array:
        return np.asarray(self.cov_factor @ self.cov_factor.transpose(0, 2, 1))

    @cached_property
    def _slope(self) -> Array:
        return np.asarray(np.gradient(self.lab, self.ph, axis=0))


class StripModel:
    """The forward model that a reading is inferred with: one kind's curve, and what lies about it.

    A mixin: frozen dataclasses give it ``kind`` and ``strip``.
    """

    kind: StripKind
    strip: StripCurve

    def curve(self, ph: Array) -> Array:
        """Expected pad colours at pH (N,): CIELAB (N, P, 3)."""
        return self.strip.curve(ph)

    def curve_cov(self, ph: Array) -> Array:
        """Covariance of the curve itself at each pH (N,): (N, 3P, 3P)."""
        return self.strip.curve_cov(ph)

    def lot_cov(self, ph: Array) -> Array:
        """Covariance of one strip in one photo about the curve at each pH (N,): (N, 3P, 3P)."""
        return self.strip.strip_cov(ph) + self.strip.scatter_cov()


def _between(grid: Array, table: Array, at: Array) -> Array:
    """Linear interpolation along the first axis; the ends are held. Covariances stay covariances."""
    at = np.clip(np.atleast_1d(np.asarray(at, dtype=np.float64)), grid[0], grid[-1])
    right = np.clip(np.searchsorted(grid, at), 1, len(grid) - 1)
    share = (at - grid[right - 1]) / (grid[right] - grid[right - 1])
    share = share.reshape(-1, *[1] * (table.ndim - 1))
    return np.asarray(table[right - 1] * (1.0 - share) + table[right] * share)
