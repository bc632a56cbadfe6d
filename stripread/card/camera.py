"""The card as a camera sees it: millimetres to pixels for a card that may be curled, and the fit of that map.

A flat card seen by a pinhole camera is a homography of the plane (Hartley and Zisserman, Multiple View Geometry, 2nd
ed., section 8.1.1: the first, second and fourth column of the camera matrix). A curled card has a height
z = a u^2 + b v^2 (u, v: -1 to 1 over the card) that enters with the camera matrix's third column; that column follows
from the homography once the focal length is assumed. One coefficient of radial distortion stands for what the phone
left of its lens, and one length for how much wider than drawn the black squares look (ink spread, blur in encoded
levels). Curl, distortion and that length are held by priors, so that few corners can't bend the card.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from stripread.tuned import tuned

Array = NDArray[np.float64]

_TUNED = tuned("stripread.card")
FOCAL_PER_LONG_SIDE = _TUNED.number("focal_per_long_side")
SAG_SD_MM = _TUNED.number("sag_sd_mm")
DISTORTION_SD = _TUNED.number("distortion_sd")
SPREAD_SD_MM = _TUNED.number("spread_sd_mm")
N_PARAMETERS = 12
SPREAD = 11  # index of the edge shift


@dataclass(frozen=True)
class Frame:
    """Scaled coordinates for a well-behaved fit: card size (mm), picture centre and half its long side (px)."""

    card_size: tuple[float, float]
    picture_centre: tuple[float, float]
    picture_half: float

    def mm_to_unit(self, points: Array) -> Array:
        """Millimetres (N, 2) to units of half the card's width about its centre."""
        return np.asarray(points / (self.card_size[0] / 2) - np.array([1.0, self.card_size[1] / self.card_size[0]]))

    def unit_to_mm(self, points: Array) -> Array:
        """Back to millimetres: points (N, 2) to (N, 2)."""
        return np.asarray((points + np.array([1.0, self.card_size[1] / self.card_size[0]])) * (self.card_size[0] / 2))

    def px_to_unit(self, points: Array) -> Array:
        """Pixels (N, 2) to units of half the picture's long side about its centre."""
        return np.asarray((points - np.array(self.picture_centre)) / self.picture_half)

    def unit_to_px(self, points: Array) -> Array:
        """Back to pixels: points (N, 2) to (N, 2)."""
        return np.asarray(points * self.picture_half + np.array(self.picture_centre))


@dataclass(frozen=True)
class Fit:
    """Outcome of the fit: parameters (12,), residuals (N, 2) px."""

    parameters: Array
    residual: Array

    @property
    def finite(self) -> bool:
        """Whether the fit came to numbers at all."""
        return bool(np.isfinite(self.parameters).all() and np.isfinite(self.residual).all())


def homography(parameters: Array) -> Array:
    """The flat part, (3, 3): unit card coordinates to unit picture coordinates."""
    return np.append(parameters[:8], 1.0).reshape(3, 3)


def card_normal(matrix: Array) -> Array:
    """Image (3,) of the card's normal, K (r1 x r2), scaled as the columns of ``matrix`` (3, 3) are.

    The focal length is assumed.
    """
    focal = np.array([2.0 * FOCAL_PER_LONG_SIDE, 2.0 * FOCAL_PER_LONG_SIDE, 1.0])
    a, b = matrix[:, 0] / focal, matrix[:, 1] / focal
    size = float((a @ a) * (b @ b)) ** 0.25
    # Written out: numpy's cross product of two vectors costs more than the rest of this stage.
    normal = np.array([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])
    return np.asarray(normal / max(size, 1e-12) * focal)


def tilt_deg(matrix: Array) -> float:
    """Angle between the card's normal and the camera's axis, degrees, from the homography ``matrix`` (3, 3)."""
    focal = np.array([2.0 * FOCAL_PER_LONG_SIDE, 2.0 * FOCAL_PER_LONG_SIDE, 1.0])
    normal = np.cross(matrix[:, 0] / focal, matrix[:, 1] / focal)
    return float(np.degrees(np.arccos(np.clip(abs(normal[2]) / max(float(np.linalg.norm(normal)), 1e-12), 0.0, 1.0))))


def project(parameters: Array, points_mm: Array, frame: Frame) -> Array:
    """Card points (N, 2) mm to pixels (N, 2)."""
    unit, matrix, _, height = _lifted(parameters, points_mm, frame)
    image = unit @ matrix[:, :2].T + matrix[:, 2] + height[:, None] * card_normal(matrix)
    flat = image[:, :2] / image[:, 2:]
    return frame.unit_to_px(flat * (1.0 + parameters[10] * np.sum(flat**2, axis=1, keepdims=True)))


def _lifted(parameters: Array, points_mm: Array, frame: Frame) -> tuple[Array, Array, Array, Array]:
    """Unit coordinates (N, 2), homography, squared places (N, 2) in -1..1 over the card, height (N,) in units."""
    unit = frame.mm_to_unit(points_mm)
    squares = (unit * np.array([1.0, frame.card_size[0] / frame.card_size[1]])) ** 2
    return unit, homography(parameters), squares, squares @ parameters[8:10] / (frame.card_size[0] / 2)


def derivatives(parameters: Array, points_mm: Array, frame: Frame) -> tuple[Array, Array, Array]:
    """Pixels (N, 2), their derivatives by the first 11 parameters (N, 2, 11) and by the place in mm (N, 2, 2).

    The small change of the normal with the homography is left out: it is multiplied by the curl.
    """
    half = frame.card_size[0] / 2
    unit, matrix, squares, height = _lifted(parameters, points_mm, frame)
    normal = card_normal(matrix)
    image = unit @ matrix[:, :2].T + matrix[:, 2] + height[:, None] * normal
    depth = image[:, 2]
    flat = image[:, :2] / depth[:, None]
    count = len(unit)
    homogeneous = np.column_stack([unit, np.ones(count)]) / depth[:, None]
    by = np.zeros((count, 2, N_PARAMETERS - 1))
    by[:, 0, 0:3] = homogeneous
    by[:, 1, 3:6] = homogeneous
    by[:, :, 6:8] = -flat[:, :, None] * homogeneous[:, None, :2]
    lift = (normal[:2] - flat * normal[2]) / depth[:, None]  # picture units per unit of height
    by[:, :, 8:10] = lift[:, :, None] * squares[:, None, :] / half
    aspect = np.array([1.0, (frame.card_size[0] / frame.card_size[1]) ** 2])
    slope = 2.0 * unit * aspect * parameters[8:10] / half  # of the height
    place = (matrix[None, :2, :2] - flat[:, :, None] * matrix[None, 2:, :2]) / depth[:, None, None]
    place = place + lift[:, :, None] * slope[:, None, :]
    radius2 = np.sum(flat**2, axis=1)
    bend = (1.0 + parameters[10] * radius2)[:, None, None] * np.eye(2)
    bend = bend + 2.0 * parameters[10] * flat[:, :, None] * flat[:, None, :]
    by[:, :, :10] = bend @ by[:, :, :10]
    by[:, :, 10] = flat * radius2[:, None]
    pixels = frame.unit_to_px(flat * (1.0 + parameters[10] * radius2)[:, None])
    return pixels, by * frame.picture_half, bend @ place * (frame.picture_half / half)


def fit_card(points_mm: Array, seen_px: Array, sd_px: Array, frame: Frame, start: Array) -> Fit:
    """Fit the model to corners of squares by Gauss-Newton with Huber weights.

    points_mm, seen_px (4 M, 2): four corners a square, in order; sd_px (4 M,); start: homography (3, 3) in units.
    """
    parameters = np.concatenate([(start / start[2, 2]).ravel()[:8], np.zeros(4)])
    squares = points_mm.reshape(-1, 4, 2)
    outward = np.sign(squares - squares.mean(axis=1, keepdims=True)).reshape(-1, 2)
    prior = np.array([0.0] * 8 + [1 / SAG_SD_MM, 1 / SAG_SD_MM, 1 / DISTORTION_SD, 1 / SPREAD_SD_MM]) ** 2
    residual = np.zeros_like(seen_px)
    for _ in range(10):
        moved = points_mm + parameters[SPREAD] * outward
        pixels, by, place = derivatives(parameters, moved, frame)
        residual = seen_px - pixels
        if not np.isfinite(residual).all():
            break
        columns = np.concatenate([by, place @ outward[..., None]], axis=2)
        size = np.linalg.norm(residual, axis=1) / sd_px
        root = np.sqrt(np.minimum(1.0, 3.0 / np.maximum(size, 1e-9))) / sd_px
        design = (columns * root[:, None, None]).reshape(-1, N_PARAMETERS)
        normal = design.T @ design + np.diag(prior)
        gradient = design.T @ (residual * root[:, None]).ravel() - prior * parameters
        step = np.linalg.lstsq(normal, gradient, rcond=None)[0]
        parameters = parameters + step
        if np.abs(step[:8]).max() < 1e-6:
            break
    return Fit(parameters, residual)
