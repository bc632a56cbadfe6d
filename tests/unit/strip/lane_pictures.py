"""Small drawn stand-ins for a rectified card with a strip on it, with known places: no optics, no spectra."""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import layout
from stripread.kind import StripKind

MARGIN_MM = 6.0


@dataclass
class DrawnView:
    """Has what the strip finder uses of a rectified card."""

    rgb: NDArray[np.uint8]
    px_per_mm: float
    margin_mm: float = MARGIN_MM
    inside: NDArray[np.bool_] = field(default_factory=lambda: np.zeros((0, 0), bool))

    def mm_to_view(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        return (np.asarray(points) + self.margin_mm) * self.px_per_mm - 0.5


@dataclass
class Drawn:
    """One strip as it is drawn; colours are linear reflectances (3,)."""

    end: tuple[float, float]  # middle of the dipped end, mm
    angle_deg: float
    pads: list[tuple[float, float, float]]  # linear reflectance of each pad
    carrier: tuple[float, float, float] = (0.86, 0.87, 0.87)
    shifts: list[float] | None = None
    length_mm: float | None = None
    width_mm: float | None = None

    @property
    def along(self) -> NDArray[np.float64]:
        return np.array([np.cos(np.radians(self.angle_deg)), np.sin(np.radians(self.angle_deg))])

    def quad(self, a: float, b: float, half: float) -> list[tuple[float, float]]:
        """Corners (mm) of the stretch from a to b from the dipped end."""
        v = np.array([-self.along[1], self.along[0]])
        corners = ((a, -half), (b, -half), (b, half), (a, half))
        return [tuple(np.array(self.end) + k * self.along + t * v) for k, t in corners]

    def centres(self, kind: StripKind) -> NDArray[np.float64]:
        """Middles (P, 2) mm of the pads as drawn."""
        shifts = self.shifts or [0.0] * len(self.pads)
        s = np.array([p.offset_mm + d + p.length_mm / 2 for p, d in zip(kind.pads, shifts, strict=True)])
        return np.array(self.end) + s[:, None] * self.along


def draw(
    kind: StripKind,
    strips: list[Drawn],
    *,
    ppm: float = 5.0,
    seed: int = 0,
    blur_mm: float = 0.2,
    noise: float = 0.012,
    slope: tuple[float, float] = (0.1, -0.05),
    cast: tuple[float, float, float] = (1.0, 0.95, 0.85),
    shadow: tuple[float, float, float] | None = None,  # place x mm, direction deg, depth
    glare: tuple[float, float, float, float] | None = None,  # x, y, radius mm, strength
    dry_edge: float = 0.0,
    edge_shade: float = 0.06,
    words: bool = False,  # the card's own words above the lane
) -> DrawnView:
    """Draw the card in linear light at twice the resolution, then light, blur, noise and a power-law encoding."""
    rng = np.random.default_rng(seed)
    card = layout()
    scale = 2 * ppm
    height = round((card.size_mm[1] + 2 * MARGIN_MM) * scale)
    width = round((card.size_mm[0] + 2 * MARGIN_MM) * scale)
    picture = np.full((height, width, 3), 0.88, np.float32)

    def px(points: list[tuple[float, float]]) -> NDArray[np.int32]:
        return np.rint((np.array(points) + MARGIN_MM) * scale * 16 - 0.5 * 16).astype(np.int32)

    def fill(quad: list[tuple[float, float]], value: tuple[float, float, float]) -> None:
        cv2.fillConvexPoly(picture, px(quad), [float(v) for v in value], lineType=cv2.LINE_AA, shift=4)

    def rect(x: float, y: float, w: float, h: float) -> list[tuple[float, float]]:
        return [(x, y), (x + w, y), (x + w, y + h), (x, y + h)]

    for p in card.patches:
        fill(rect(*p.rect_mm), tuple((np.array(p.srgb) / 255.0) ** 2.2 * 0.84 + 0.04))
    for m in card.markers:
        fill(list(m.corners_mm), (0.05, 0.05, 0.05))
    x, y, w, h = card.lane_mm
    for edge in (rect(x, y, w, 0.3), rect(x, y + h, w, 0.3), rect(x, y, 0.3, h), rect(x + w, y, 0.3, h)):
        fill(edge, (0.55, 0.55, 0.55))
    marks = [rect(x, y - 1.8, 3.8, 0.25)]  # the arrow, then strokes of letters
    marks += [rect(x + at, y - 2.5, 0.3, 1.3) for at in (*np.arange(5.0, 13.8, 0.9), *np.arange(w - 12.0, w, 0.9))]
    for mark in marks if words else ():
        fill(mark, (0.1, 0.1, 0.1))
    for s in strips:
        half = (s.width_mm or kind.width_mm) / 2
        length = s.length_mm or kind.length_mm
        if edge_shade:
            shade = np.zeros(picture.shape[:2], np.float32)
            cast_on = [(x0 + 0.2, y0 + 0.25) for x0, y0 in s.quad(0, length, half)]
            cv2.fillConvexPoly(shade, px(cast_on), 1.0, shift=4)
            picture *= 1 - edge_shade * cv2.GaussianBlur(shade, (0, 0), 0.3 * scale)[:, :, None]
        fill(s.quad(0, length, half), s.carrier if not kind.is_roll else s.pads[0])
        for pad, colour, shift in zip(kind.pads, s.pads, s.shifts or [0.0] * len(s.pads), strict=True):
            if kind.is_roll:
                continue
            a, b = pad.offset_mm + shift, pad.offset_mm + shift + pad.length_mm
            fill(s.quad(a, b, half), colour)
            if dry_edge:
                dried = tuple(np.array(colour) * 0.6 + 0.3)
                fill(s.quad(b - dry_edge * pad.length_mm, b, half), dried)
    ys, xs = np.mgrid[0:height, 0:width].astype(np.float32) / scale - MARGIN_MM
    light = 0.75 * (1 + slope[0] * (xs - 74) / 74 + slope[1] * (ys - 52) / 52)
    if shadow is not None:
        at, direction, depth = shadow
        nx, ny = np.cos(np.radians(direction)), np.sin(np.radians(direction))
        light *= 1 - depth / (1 + np.exp(-((xs - at) * nx + (ys - 37) * ny) / 0.25))
    picture *= light[:, :, None] * np.array(cast, np.float32)
    if glare is not None:
        gx, gy, radius, strength = glare
        picture += (strength * np.exp(-((((xs - gx) ** 2 + (ys - gy) ** 2) / radius**2) ** 2)))[:, :, None]
    soft = cv2.GaussianBlur(picture, (0, 0), blur_mm * scale)
    small = cv2.resize(soft, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    encoded = np.clip(small, 0, 1) ** (1 / 2.2)
    encoded += 1.5 * noise * cv2.GaussianBlur(rng.standard_normal(encoded.shape).astype(np.float32), (0, 0), 0.6)
    rgb = np.clip(np.rint(encoded * 255), 0, 255).astype(np.uint8)
    view = DrawnView(rgb, ppm)
    view.inside = np.ones(rgb.shape[:2], bool)
    return view
