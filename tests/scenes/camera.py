"""Where the phone is: card millimetres to pixels and back, with perspective, a curled card and lens distortion."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from tests.scenes.light import CARD_CENTRE

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Curl:
    """The card bent over a cylinder: curvature (1/mm, positive = edges up) and the direction across the axis."""

    curvature: float = 0.0
    angle_deg: float = 0.0

    def _across(self, xy: Array) -> tuple[Array, Array]:
        turn = np.radians(self.angle_deg)
        axis = np.array([np.cos(turn), np.sin(turn)])
        return (xy - CARD_CENTRE) @ axis, axis

    def height(self, xy: Array) -> Array:
        """Height over the bench, lowest point on it."""
        a = np.clip(self._across(xy)[0], -95, 95)
        h = 0.5 * self.curvature * a * a
        return np.asarray(h if self.curvature >= 0 else h - 0.5 * self.curvature * 80.0**2)

    def normal(self, xy: Array) -> Array:
        """Unit normals, shape (..., 3)."""
        a, axis = self._across(xy)
        slope = self.curvature * np.clip(a, -95, 95)
        n = np.stack([-slope * axis[0], -slope * axis[1], np.ones_like(slope)], axis=-1)
        return np.asarray(n / np.linalg.norm(n, axis=-1, keepdims=True))

    def flatten(self, xy: Array) -> Array:
        """Card coordinates -> place over the bench: arc length shrinks to its projection (third order)."""
        a, axis = self._across(xy)
        clipped = np.clip(a, -95, 95)
        return np.asarray(xy - (self.curvature**2 * clipped**3 / 6)[..., None] * axis)


@dataclass(frozen=True)
class Camera:
    """A pinhole over the bench. Pixels are those of the upright picture, pixel centres at whole numbers."""

    rotation: Array  # (3, 3) bench axes (x right, y down, z up) to camera axes (x right, y down, z forward)
    distance_mm: float
    focal_px: float
    principal: tuple[float, float]
    size: tuple[int, int]  # width, height
    radial: float
    curl: Curl

    @classmethod
    def aimed(
        cls,
        *,
        size: tuple[int, int],
        distance_mm: float,
        tilt_deg: float,
        azimuth_deg: float,
        roll_deg: float,
        fill: float,
        aim: tuple[float, float],
        curl: Curl,
        radial: float = 0.0,
        spread: Array | None = None,
    ) -> Camera:
        """Frame the card: its outline takes ``fill`` of the tighter side, put at ``aim`` (-1 to 1) of what is free."""
        t, a = np.radians(tilt_deg), np.radians(azimuth_deg)
        back = np.array([np.sin(t) * np.cos(a), np.sin(t) * np.sin(a), np.cos(t)])  # from the card to the phone
        forward = -back
        up_hint = np.array([0.0, -1.0, 0.0])
        right = np.cross(back, up_hint)  # x right, y down, z up is left-handed: hence this order
        right /= np.linalg.norm(right)
        down = np.cross(right, back) * -1.0
        down = down if down[1] > 0 else -down
        r = np.radians(roll_deg)
        rows = np.stack([np.cos(r) * right - np.sin(r) * down, np.sin(r) * right + np.cos(r) * down, forward])
        unit = cls(rows, distance_mm, 1.0, (0.0, 0.0), size, 0.0, curl)
        outline = np.array([[0, 0], [148, 0], [148, 104], [0, 104]], dtype=float) if spread is None else spread
        box = unit.to_px(outline)
        low, high = box.min(axis=0), box.max(axis=0)
        focal = fill * min(size[0] / (high - low)[0], size[1] / (high - low)[1])
        free = (np.array(size) - focal * (high - low)) / 2
        centre = np.array(size) / 2 + np.array(aim) * free - focal * (low + high) / 2
        return cls(rows, distance_mm, focal, (float(centre[0]), float(centre[1])), size, radial, curl)

    def to_px(self, card_mm: Array, on_bench: bool = False, lift: float = 0.0) -> Array:
        """Card millimetres (..., 2) to pixels (..., 2); ``lift`` is height above the card."""
        xy = np.asarray(card_mm, dtype=float)
        height = np.zeros(xy.shape[:-1]) if on_bench else self.curl.height(xy) + lift
        place = xy if on_bench else self.curl.flatten(xy)
        world = np.concatenate([place - CARD_CENTRE, height[..., None]], axis=-1)
        seen = world @ self.rotation.T
        depth = seen[..., 2] + self.distance_mm
        ideal = seen[..., :2] / depth[..., None] * self.focal_px + np.array(self.principal)
        return self._distort(ideal)

    def _middle(self) -> tuple[Array, float]:
        return np.array([self.size[0] / 2, self.size[1] / 2]), float(np.hypot(*self.size) / 2)

    def _distort(self, px: Array) -> Array:
        if self.radial == 0:
            return px
        middle, reach = self._middle()
        d = (px - middle) / reach
        return np.asarray(middle + reach * d * (1 + self.radial * (d**2).sum(axis=-1, keepdims=True)))

    def _undistort(self, px: Array) -> Array:
        if self.radial == 0:
            return px
        middle, reach = self._middle()
        want = (px - middle) / reach
        d = want
        for _ in range(4):
            d = want / (1 + self.radial * (d**2).sum(axis=-1, keepdims=True))
        return np.asarray(middle + reach * d)

    def to_card(self, px: Array, on_bench: bool = False, lift: float = 0.0) -> Array:
        """Pixels (..., 2) to card millimetres by meeting the ray with the curled surface (a fixed point)."""
        ideal = self._undistort(np.asarray(px, dtype=float))
        ray = np.concatenate(
            [(ideal - np.array(self.principal)) / self.focal_px, np.ones((*ideal.shape[:-1], 1))], axis=-1
        )
        ray = ray @ self.rotation  # to bench axes
        eye = -self.distance_mm * self.rotation[2]
        height = np.zeros(ray.shape[:-1])
        down = np.where(ray[..., 2] < -1e-3, ray[..., 2], -1e-3)
        card = np.zeros((*ray.shape[:-1], 2))
        for _ in range(1 if on_bench else 6):
            step = (height - eye[2]) / down
            place = eye[:2] + step[..., None] * ray[..., :2] + CARD_CENTRE
            if on_bench:
                return np.asarray(place)
            card = place + (place - self.curl.flatten(place))
            height = self.curl.height(card) + lift
        return card

    def px_per_mm(self) -> float:
        """Largest scale over the card."""
        corners = np.array([[0, 0], [148, 0], [148, 104], [0, 104]], dtype=float)
        steps = [np.linalg.norm(self.to_px(corners + s) - self.to_px(corners), axis=-1) for s in ([1.0, 0], [0, 1.0])]
        return float(np.max(steps))
