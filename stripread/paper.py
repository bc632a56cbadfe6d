"""Bare paper around the two windows: the light there, measured where the vials stand instead of read off a wide fit."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stripread.card import MARKER_MM, PATCH_MM, CardLayout
from stripread.colour import srgb_decode
from stripread.view import CardView
from stripread.vials import Vial

Array = NDArray[np.float64]

REGION_MM = (21.0, 51.5, 127.0, 82.5)  # left, top, right, bottom: below the lane, above the lower patches
STEP_MM = 1.5
CLEAR_MM = 1.0  # kept from print
SHADOW_MM = 3.5  # kept from a vessel's foot: its shadow and what shines through it
ROUNDS = 8
MIN_POINTS = 30


@dataclass(frozen=True)
class LightRatio:
    """Light at the sample's place over light at the blank's: natural log (3,), with covariance (3, 3)."""

    log_ratio: Array
    cov: Array
    points: int


def light_ratio(view: CardView, layout: CardLayout, sample: Vial, blank: Vial) -> LightRatio:
    """Fit the light field on bare paper around the windows, and take its ratio at the two vials.

    A quadratic in x and y for each channel, by least squares with weights that fall for outliers (shadows, reflections
    of the vials' colour). With too little paper in sight the light is taken as even, with a wide doubt.
    """
    points = _points(layout, sample, blank)
    at = np.rint(view.mm_to_view(points)).astype(int)
    h, w = view.rgb.shape[:2]
    seen = (at >= 1).all(axis=1) & (at[:, 0] < w - 1) & (at[:, 1] < h - 1)
    at, points = at[seen], points[seen]
    seen = view.inside[at[:, 1], at[:, 0]]
    at, points = at[seen], points[seen]
    reach = max(1, int(0.6 * view.px_per_mm))
    offsets = np.arange(-reach, reach + 1)
    rows = np.clip(at[:, 1, None, None] + offsets[:, None], 0, h - 1)
    columns = np.clip(at[:, 0, None, None] + offsets[None, :], 0, w - 1)
    encoded = view.rgb[rows, columns].reshape(len(at), -1, 3).mean(axis=1) / 255.0
    if len(at) < MIN_POINTS:
        return LightRatio(np.zeros(3), np.eye(3) * 0.01**2 + 0.03**2, len(at))
    y = np.log(np.maximum(srgb_decode(encoded), 1e-4))  # (N, 3)
    basis, ends = _basis(points), _basis(np.array([sample.centre_mm, blank.centre_mm]))
    difference = ends[0] - ends[1]
    weight = np.ones(len(y))
    coefficients = np.zeros((basis.shape[1], 3))
    residual = y
    for _ in range(ROUNDS):
        root = np.sqrt(weight)[:, None]
        coefficients = np.linalg.lstsq(basis * root, y * root, rcond=None)[0]
        residual = y - basis @ coefficients
        size = np.linalg.norm(residual - np.median(residual, axis=0), axis=1)
        scale = max(1.2 * float(np.median(size)), 0.002)
        weight = 1.0 / (1.0 + (size / (2.0 * scale)) ** 4)
    inverse = np.linalg.inv((basis * weight[:, None]).T @ basis)
    spread = (residual * weight[:, None]).T @ residual / max(weight.sum() - basis.shape[1], 1.0)
    # Neighbouring points share some shade and print: two thirds of them count as independent.
    cov = spread * float(difference @ inverse @ difference) * 1.5
    return LightRatio(difference @ coefficients, cov, len(at))


def _points(layout: CardLayout, sample: Vial, blank: Vial) -> Array:
    """Places of bare paper (N, 2) mm."""
    left, top, right, bottom = REGION_MM
    grid = np.stack(np.meshgrid(np.arange(left, right, STEP_MM), np.arange(top, bottom, STEP_MM)), axis=-1).reshape(-1, 2)
    bare = np.ones(len(grid), dtype=bool)
    for patch in layout.patches:
        x, y = patch.rect_mm[:2]
        centre = np.array([x, y]) + PATCH_MM / 2
        bare &= np.abs(grid - centre).max(axis=1) > PATCH_MM / 2 + CLEAR_MM
    for marker in layout.markers:
        centre = np.array(marker.corners_mm[0]) + MARKER_MM / 2
        bare &= np.abs(grid - centre).max(axis=1) > MARKER_MM / 2 + CLEAR_MM
    for window in layout.windows.values():
        away = np.hypot(grid[:, 0] - window.centre_mm[0], grid[:, 1] - window.centre_mm[1])
        bare &= away > window.radius_mm + CLEAR_MM
    for vial in (sample, blank):
        for circle in vial.circles:
            away = np.hypot(grid[:, 0] - circle.centre_mm[0], grid[:, 1] - circle.centre_mm[1])
            bare &= away > circle.radius_mm + SHADOW_MM
    return grid[bare]


def _basis(points: Array) -> Array:
    x, y = (points[:, 0] - 74.0) / 40.0, (points[:, 1] - 67.0) / 15.0
    return np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=1)
