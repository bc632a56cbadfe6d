"""Plain photos of the card by geometry alone, with the exact place of every millimetre known: for tests of finding it.

No colour physics here (that is ``tests.scenes``): the card is drawn from its layout and seen by a pinhole camera, which
is written down again here, in millimetres and degrees, rather than taken from the reader.
"""

from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np

from stripread.card.layout import DICTIONARY, layout
from stripread.photo import Photo

DRAWN_PX_PER_MM = 12
FINER = 2  # the scene is drawn this much finer and averaged, or edges would snap to whole pixels


@dataclass(frozen=True)
class Shot:
    """Camera: picture size px, distance mm, angles deg, sag at the card's edges mm, distortion, place off centre mm."""

    size: tuple[int, int] = (1600, 1200)
    distance: float = 260.0
    tilt: float = 0.0
    azimuth: float = 0.0
    roll: float = 0.0
    sag_x: float = 0.0
    sag_y: float = 0.0
    distortion: float = 0.0
    shift: tuple[float, float] = (0.0, 0.0)

    def to_px(self, points_mm):
        """Card points (N, 2) mm to pixels."""
        focal = 0.75 * max(self.size)
        tilt, azimuth, roll = np.radians([self.tilt, self.azimuth, self.roll])
        x, y = points_mm[:, 0] - 74.0, points_mm[:, 1] - 52.0
        z = -(self.sag_x * (x / 74.0) ** 2 + self.sag_y * (y / 52.0) ** 2)
        lean = np.array([[1, 0, 0], [0, np.cos(tilt), -np.sin(tilt)], [0, np.sin(tilt), np.cos(tilt)]])
        turn = _about_axis(roll) @ _about_axis(-azimuth) @ lean @ _about_axis(azimuth)
        seen = np.stack([x, y, z], axis=1) @ turn.T + np.array([*self.shift, self.distance])
        flat = seen[:, :2] / seen[:, 2:]
        flat = flat * (1 + self.distortion * np.sum(flat**2, axis=1, keepdims=True))
        return flat * focal + (np.array(self.size) - 1) / 2


def _about_axis(angle):
    return np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])


def drawn_card() -> np.ndarray:
    """The card as printed, (1248, 1776, 3) uint8."""
    s, card = DRAWN_PX_PER_MM, layout()
    image = np.full((round(card.size_mm[1] * s), round(card.size_mm[0] * s), 3), 250, np.uint8)
    for patch in card.patches:
        x, y, w, h = (round(v * s) for v in patch.rect_mm)
        image[y : y + h, x : x + w] = patch.srgb
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    for marker in card.markers:
        (x, y), side = (round(v * s) for v in marker.corners_mm[0]), round(15 * s)
        image[y : y + side, x : x + side] = cv2.aruco.generateImageMarker(dictionary, marker.id, side)[..., None]
    return image


def take(shot: Shot, *, blur_px=0.8, noise=2.0, gain=1.0, seed=0, covered_mm=None) -> np.ndarray:
    """The photo, (H, W, 3) uint8: cells of the card each through their own homography; ``covered_mm`` hides a disc."""
    card = drawn_card()
    if covered_mm is not None:
        centre = tuple(round(v * DRAWN_PX_PER_MM) for v in covered_mm)
        cv2.circle(card, centre, round(14 * DRAWN_PX_PER_MM), (190, 140, 120), -1)
    width, height = shot.size[0] * FINER, shot.size[1] * FINER
    picture = np.full((height, width, 3), 95, np.uint8)
    xs, ys = np.linspace(0, 148, 9), np.linspace(0, 104, 7)
    for x0, x1 in pairwise(xs):
        for y0, y1 in pairwise(ys):
            cell = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
            target = (shot.to_px(cell) + 0.5) * FINER - 0.5
            low = np.maximum(np.floor(target.min(axis=0)).astype(int) - 1, 0)
            high = np.minimum(np.ceil(target.max(axis=0)).astype(int) + 2, [width, height])
            if (high <= low).any():
                continue
            there = cv2.getPerspectiveTransform(
                (cell * DRAWN_PX_PER_MM - 0.5).astype(np.float32), (target - low).astype(np.float32)
            )
            size = (int(high[0] - low[0]), int(high[1] - low[1]))
            part = cv2.warpPerspective(card, there, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            mask = np.zeros((size[1], size[0]), np.uint8)
            cv2.fillConvexPoly(mask, np.round((target - low) * 16).astype(np.int32), 255, shift=4)
            picture[low[1] : high[1], low[0] : high[0]][mask > 0] = part[mask > 0]
    picture = cv2.resize(picture, shot.size, interpolation=cv2.INTER_AREA)
    light = (picture.astype(np.float32) / 255) ** 2.2 * gain
    if blur_px:
        light = cv2.GaussianBlur(light, (0, 0), blur_px)
    levels = np.clip(light, 0, 1) ** (1 / 2.2) * 255
    levels += np.random.default_rng(seed).standard_normal(levels.shape, dtype=np.float32) * noise
    return np.clip(levels + 0.5, 0, 255).astype(np.uint8)


def as_photo(pixels: np.ndarray) -> Photo:
    """Pixels as if just opened, without going through a file."""
    return Photo(np.ascontiguousarray(pixels), 1.0, (pixels.shape[1], pixels.shape[0]), (0, 0), "", None)


def jpeg(pixels: np.ndarray, quality=92) -> bytes:
    return cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1].tobytes()
