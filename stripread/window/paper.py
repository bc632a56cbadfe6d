"""Bare paper around the two windows: the light there, measured where the vials stand instead of read off a wide fit."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import MARKER_MM, PATCH_MM, CardLayout
from stripread.colour import srgb_decode
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.card.view import CardView

Array = NDArray[np.float64]

REGION_MM = (21.0, 51.5, 127.0, 82.5)  # left, top, right, bottom: below the lane, above the lower patches
STEP_MM = 1.5
REACH_MM = 0.6  # half side of what is averaged at each point
CLEAR_MM = 1.0  # kept from print
SHADOW_MM = 3.5  # kept from a vessel's foot: its shadow and what shines through it
ROUNDS = 8
MIN_POINTS = 30
_TUNED = tuned("stripread.window")
PRIOR_SD = np.array(_TUNED.numbers("paper_prior_sd"))
POINT_SD = _TUNED.number("paper_point_sd")
INDEPENDENT = 1 / 1.5  # neighbouring points share some shade and print

Disc = tuple[tuple[float, float], float]  # centre and radius, mm


@dataclass(frozen=True)
class PaperLight:
    """Light on bare paper by the sRGB curve: ln light is ``coefficients`` (6, 3) on a quadratic of the place.

    inverse (6, 6) and spread (3, 3): their covariance is the Kronecker product of the two. points: how many were used.
    """

    coefficients: Array
    inverse: Array
    spread: Array
    points: int

    def at(self, places_mm: Array) -> Array:
        """Light of paper at card points (N, 2): (N, 3), linear, full scale 1."""
        return np.asarray(np.exp(_basis(places_mm) @ self.coefficients))

    def ratio(self, one_mm: tuple[float, float], other_mm: tuple[float, float]) -> tuple[Array, Array]:
        """ln (light at one / light at the other), (3,), and its covariance (3, 3)."""
        ends = _basis(np.array([one_mm, other_mm]))
        difference = ends[0] - ends[1]
        return difference @ self.coefficients, self.spread * float(difference @ self.inverse @ difference) / INDEPENDENT

    def doubt(self, place_mm: tuple[float, float]) -> float:
        """What ``spread`` is multiplied by for the variance of ln light at one place."""
        basis = _basis(np.array([place_mm]))[0]
        return float(basis @ self.inverse @ basis) / INDEPENDENT


def paper_light(
    view: CardView, layout: CardLayout, avoid: Sequence[Disc], decode: Callable[[Array], Array] = srgb_decode
) -> PaperLight:
    """Fit the light field on bare paper around the windows, away from the discs of vessels.

    ``decode`` is the tone (any shape).

    Least squares for each channel with weights that fall for outliers (shadows, a vial's colour thrown on it, a hand).
    With too little paper in sight the light is taken as even, with a wide doubt.
    """
    points = _points(layout, avoid)
    at = np.rint(view.mm_to_view(points)).astype(int)
    h, w = view.rgb.shape[:2]
    seen = (at >= 1).all(axis=1) & (at[:, 0] < w - 1) & (at[:, 1] < h - 1)
    at, points = at[seen], points[seen]
    seen = view.inside[at[:, 1], at[:, 0]]
    at, points = at[seen], points[seen]
    reach = max(1, int(REACH_MM * view.px_per_mm))
    offsets = np.arange(-reach, reach + 1)
    rows = np.clip(at[:, 1, None, None] + offsets[:, None], 0, h - 1)
    columns = np.clip(at[:, 0, None, None] + offsets[None, :], 0, w - 1)
    encoded = view.rgb[rows, columns].reshape(len(at), (2 * reach + 1) ** 2, 3).mean(axis=1) / 255.0
    y = np.log(np.maximum(decode(encoded), 1e-4))
    basis = _basis(points)
    if len(at) < MIN_POINTS:
        even = np.zeros((basis.shape[1], 3))
        even[0] = np.median(y, axis=0) if len(y) else -0.5
        return PaperLight(even, np.eye(basis.shape[1]) * 0.25, np.eye(3) * 0.01**2 + 0.03**2, len(at))
    weight = np.ones(len(y))
    ridge = np.diag((POINT_SD / PRIOR_SD) ** 2)
    coefficients: Array = np.zeros((basis.shape[1], 3))
    residual = y
    for turn in range(ROUNDS):
        root = np.sqrt(weight)[:, None]
        coefficients = np.linalg.solve((basis * root).T @ (basis * root) + ridge, (basis * root).T @ (y * root))
        residual = y - basis @ coefficients
        level = residual.mean(axis=1)
        bright = level >= np.median(level)
        if turn < ROUNDS // 2:
            weight = bright.astype(np.float64)
            continue
        # Paper is the brightest there is: walls and shadows only darken. Its spread is that of the brighter half.
        size = np.linalg.norm(residual - np.median(residual[bright], axis=0), axis=1)
        scale = max(1.5 * float(np.median(size[bright])), 0.002)
        weight = 1.0 / (1.0 + (size / (2.0 * scale)) ** 4)
    inverse = np.linalg.inv((basis * weight[:, None]).T @ basis + ridge)
    spread = (residual * weight[:, None]).T @ residual / max(weight.sum() - basis.shape[1], 1.0)
    return PaperLight(coefficients, np.asarray(inverse, dtype=np.float64), spread, len(at))


def _points(layout: CardLayout, avoid: Sequence[Disc]) -> Array:
    """Places of bare paper (N, 2) mm."""
    left, top, right, bottom = REGION_MM
    axes = np.meshgrid(np.arange(left, right, STEP_MM), np.arange(top, bottom, STEP_MM))
    grid = np.stack(axes, axis=-1).reshape(-1, 2)
    bare = np.ones(len(grid), dtype=bool)
    for patch in layout.patches:
        centre = np.array(patch.rect_mm[:2]) + PATCH_MM / 2
        bare &= _square_away(grid, centre) > PATCH_MM / 2 + CLEAR_MM
    for marker in layout.markers:
        centre = np.array(marker.corners_mm[0]) + MARKER_MM / 2
        bare &= _square_away(grid, centre) > MARKER_MM / 2 + CLEAR_MM
    discs = [(window.centre_mm, window.radius_mm + CLEAR_MM) for window in layout.windows.values()]
    discs += [(centre, radius + SHADOW_MM) for centre, radius in avoid]
    for (x, y), radius in discs:
        bare &= np.hypot(grid[:, 0] - x, grid[:, 1] - y) > radius
    return grid[bare]


def _square_away(grid: Array, centre: Array) -> Array:
    """Larger of the distances in x and y; column by column, which is faster than over the short axis."""
    return np.asarray(np.maximum(np.abs(grid[:, 0] - centre[0]), np.abs(grid[:, 1] - centre[1])), dtype=np.float64)


def _basis(points: Array) -> Array:
    x, y = (points[:, 0] - 74.0) / 40.0, (points[:, 1] - 67.0) / 15.0
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
