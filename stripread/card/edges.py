"""Corners of dark squares on white to a small part of a pixel: straight lines fitted to their four sides.

Each side is crossed by many short profiles. The place of the edge in a profile comes from the area under it, which a
symmetric blur leaves alone and which averages the noise over the whole profile; a robust line through the places of a
side and the crossing of neighbouring lines give the corner. The profiles are made linear in light first: blur adds up
light, not encoded levels, and in encoded levels every edge would seem to move into the dark.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.robust import medians
from stripread.tuned import tuned

Array = NDArray[np.float64]

PROFILES = 24  # to a side
STEPS = 25  # to a profile
# The part of a side that is crossed, away from the corners, and the reach of a profile as a share of the side.
ALONG = np.linspace(0.12, 0.88, PROFILES)
REACH = 0.145  # of the side: 2.2 of 15 mm, inside the black border (2.5 mm) and the white around it (4 mm)
MIN_REACH_PX = 2.0
_TUNED = tuned("stripread.card")
MIN_CONTRAST = _TUNED.number("edge_min_contrast")
_LINEAR = ((np.arange(256) / 255.0) ** 2.2).astype(np.float32)


@dataclass(frozen=True)
class Refined:
    """Squares refined: corners (M, 4, 2) px, sd (M,) px of a corner, width (M, 4) px of each side's edge.

    width is the distance from 10 % to 90 % of the step; good (M,): all four sides found.
    """

    corners: Array
    sd: Array
    width: Array
    good: NDArray[np.bool_]


def refine_squares(grey: NDArray[np.uint8], quads: Array, rounds: int = 2) -> Refined:
    """Refine the corners of dark squares, (M, 4, 2) px in order around each, seen in ``grey`` (H, W)."""
    corners = np.array(quads, dtype=np.float64)
    sd = np.zeros(len(corners))
    width = np.zeros((len(corners), 4))
    good = np.ones(len(corners), dtype=bool)
    for _ in range(rounds):
        found, sd, width, good = _one_round(grey, corners)
        corners = np.where(good[:, None, None], found, corners)
    return Refined(corners, sd, width, good)


def _one_round(grey: NDArray[np.uint8], quads: Array) -> tuple[Array, Array, Array, NDArray[np.bool_]]:
    start, end = quads, np.roll(quads, -1, axis=1)  # (M, 4, 2): side k runs from corner k to k + 1
    along = end - start
    length = np.linalg.norm(along, axis=2, keepdims=True)
    length = np.maximum(length, 1e-6)
    normal = np.stack([along[..., 1], -along[..., 0]], axis=2) / length
    centre = quads.mean(axis=1, keepdims=True)
    outward = np.sign(np.sum(normal * ((start + end) / 2 - centre), axis=2, keepdims=True))
    normal = normal * np.where(outward == 0, 1.0, outward)
    # The reach follows the shorter way across the square, which a tilt shortens.
    across = np.abs(np.sum(normal * ((start + end) / 2 - centre), axis=2, keepdims=True)) * 2
    reach = np.maximum(REACH * across, MIN_REACH_PX)  # (M, 4, 1)
    foot = start[:, :, None, :] + ALONG[None, None, :, None] * along[:, :, None, :]  # (M, 4, N, 2)
    offset = np.linspace(-1.0, 1.0, STEPS)  # from the inside out
    at = foot[:, :, :, None, :] + (offset[:, None] * reach[:, :, None, None, :]) * normal[:, :, None, None, :]
    flat = at.reshape(-1, PROFILES * STEPS, 2).astype(np.float32)
    seen = cv2.remap(grey, flat[..., 0], flat[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    light = _LINEAR[seen].reshape(*at.shape[:4]).astype(np.float64)  # (M, 4, N, K)
    tails = STEPS // 6
    dark = medians(light[..., :tails].reshape(*light.shape[:2], -1), axis=2)
    bright = medians(light[..., -tails:].reshape(*light.shape[:2], -1), axis=2)
    contrast = bright - dark
    rise = np.clip((light - dark[..., None, None]) / np.maximum(contrast, 1e-9)[..., None, None], -0.5, 1.5)
    # Area above the profile, from the inner end: where a sharp step of the same area would stand, in -1..1.
    place = -1.0 + 2.0 * (1.0 - _trapezoid(rise))  # (M, 4, N)
    intercept, slope, spread = _lines(place)
    good = (contrast > MIN_CONTRAST).all(axis=1) & (np.abs(intercept) < 0.9).all(axis=1)
    good &= (spread * reach[..., 0] < np.maximum(0.06 * across[..., 0], 1.0)).all(axis=1)
    first = start + (intercept + slope * -0.5)[..., None] * reach * normal
    last = end + (intercept + slope * 0.5)[..., None] * reach * normal
    corners, crossing = _crossings(first, last)
    good &= crossing
    sd = np.sqrt(np.mean((spread * reach[..., 0]) ** 2, axis=1) * 4.0 / PROFILES)
    return corners, sd, _widths(rise, intercept, slope) * reach[..., 0], good


def _trapezoid(rise: Array) -> Array:
    """Mean of the profile over its length by the trapezoidal rule: (..., K) to (...)."""
    inner = rise.sum(axis=-1) - 0.5 * (rise[..., 0] + rise[..., -1])
    return np.asarray(inner / (STEPS - 1))


def _lines(place: Array) -> tuple[Array, Array, Array]:
    """Robust line through each side's places (M, 4, N): value at its middle, slope, scatter, each (M, 4)."""
    t = (ALONG - 0.5)[None, None, :]
    weight = np.ones_like(place)
    middle = medians(place, axis=2)
    slope = np.zeros_like(middle)
    scatter = np.zeros_like(middle)
    for _ in range(4):
        s0, s1, s2 = weight.sum(axis=2), (weight * t).sum(axis=2), (weight * t * t).sum(axis=2)
        b0, b1 = (weight * place).sum(axis=2), (weight * t * place).sum(axis=2)
        det = np.maximum(s0 * s2 - s1 * s1, 1e-12)
        middle, slope = (s2 * b0 - s1 * b1) / det, (s0 * b1 - s1 * b0) / det
        error = place - middle[..., None] - slope[..., None] * t
        scatter = 1.4826 * medians(np.abs(error), axis=2) + 1e-6
        # Tukey's weight: what lies over part of a side must not pull the line at all
        weight = np.clip(1.0 - (error / (4.0 * scatter[..., None])) ** 2, 0.0, None) ** 2 + 1e-9
    return middle, slope, scatter


def _crossings(first: Array, last: Array) -> tuple[Array, NDArray[np.bool_]]:
    """Corner k is where side k - 1 and side k cross; first, last (M, 4, 2) are two points of each side."""
    p, r = np.roll(first, 1, axis=1), np.roll(last - first, 1, axis=1)
    q, s = first, last - first
    det = r[..., 0] * s[..., 1] - r[..., 1] * s[..., 0]
    size = np.linalg.norm(r, axis=2) * np.linalg.norm(s, axis=2)
    fine = np.abs(det) > 0.1 * np.maximum(size, 1e-9)
    d = q - p
    u = (d[..., 0] * s[..., 1] - d[..., 1] * s[..., 0]) / np.where(fine, det, 1.0)
    return p + u[..., None] * r, fine.all(axis=1)


def _widths(rise: Array, middle: Array, slope: Array) -> Array:
    """10-90 % width of each side's edge (M, 4), as a share of the reach, from the profiles put in line."""
    where = np.linspace(-1.0, 1.0, STEPS)
    shift = middle[..., None] + slope[..., None] * (ALONG - 0.5)
    step = where[1] - where[0]
    # Move each profile by its own offset (linear interpolation), then take the median over the side.
    index = (where + shift[..., None] - where[0]) / step
    low = np.clip(np.floor(index).astype(int), 0, STEPS - 2)
    part = np.clip(index - low, 0.0, 1.0)
    moved = np.take_along_axis(rise, low, axis=-1) * (1 - part) + np.take_along_axis(rise, low + 1, axis=-1) * part
    profile = np.maximum.accumulate(medians(moved, axis=2), axis=-1)  # (M, 4, K)
    # Crossing of a level: the share of the profile below it
    return np.asarray((_cross(profile, 0.9) - _cross(profile, 0.1)) * step)


def _cross(profile: Array, level: float) -> Array:
    """Index, with fraction, where a rising profile (..., K) passes ``level``."""
    below = np.clip((profile < level).sum(axis=-1), 1, STEPS - 1)
    a = np.take_along_axis(profile, below[..., None] - 1, axis=-1)[..., 0]
    b = np.take_along_axis(profile, below[..., None], axis=-1)[..., 0]
    return np.asarray(below - 1 + np.clip((level - a) / np.maximum(b - a, 1e-6), 0.0, 1.0))
