"""Photos of a printed label, rendered: cut out of the sheet, on a bench, tilted, turned, lit unevenly, blurred."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

PER_MM = 14.0  # pixels of the sheet as it is rendered
SIZES = {12: (4000, 3000), 8: (3264, 2448), 5: (2592, 1944)}  # pixels of photos of so many megapixels


@dataclass(frozen=True)
class View:
    """How a photo was taken: megapixels, the label's share of the frame's width, degrees of tilt and turn, blur, px."""

    megapixels: int
    share: float
    tilt: float
    turn: float
    blur: float
    seed: int


def drawn_view(random: np.random.Generator) -> View:
    """A bench's usual photo: the label small in the frame, some tilt and blur."""
    return View(
        int(random.choice([5, 8, 12])),
        float(random.uniform(0.18, 0.6)),
        float(random.uniform(0.0, 40.0)),
        float(random.uniform(-180.0, 180.0)),
        float(random.uniform(0.5, 2.5)),
        int(random.integers(1 << 30)),
    )


def label_of(page: Any, row: int, column: int, tall_mm: float = 58.0) -> np.ndarray:
    """One label of a rendered sheet, grey (H, W), by where it lies, roughly."""
    grey = np.asarray(page.render(scale=PER_MM * 25.4 / 72.0).to_pil().convert("L"))
    wide = int(94.0 * PER_MM)
    top, left = int((28.0 + row * tall_mm) * PER_MM), int((11.0 + column * 94.0) * PER_MM)
    return np.asarray(grey[top : top + int(tall_mm * PER_MM), left : left + wide])


def photo_of(label: np.ndarray, view: View) -> np.ndarray:
    """The label (H, W) as a phone sees it, (H', W', 3) BGR."""
    random = np.random.default_rng(view.seed)
    width, height = SIZES[view.megapixels]
    high, wide = label.shape
    scale = view.share * width / wide
    corners = np.array([[-wide, -high], [wide, -high], [wide, high], [-wide, high]]) / 2.0 * scale
    turn, tilt = np.radians(view.turn), np.radians(view.tilt)
    about = random.uniform(0.0, 2.0 * np.pi)  # the axis about which it is tilted
    flat = corners @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    axis = np.array([np.cos(about), np.sin(about)])
    along, off = flat @ axis, flat @ np.array([-axis[1], axis[0]])
    far = 1.3 * width  # of a phone's main camera, in pixels
    depth = far / (far + off * np.sin(tilt))
    off = off * np.cos(tilt)
    seen = (np.outer(along, axis) + np.outer(off, [-axis[1], axis[0]])) * depth[:, None]
    room = np.maximum(0.0, np.array([width, height]) / 2.0 - np.abs(seen).max(axis=0))
    seen = seen + np.array([width, height]) / 2.0 + random.uniform(-1.0, 1.0, 2) * 0.7 * room
    source = np.array([[0, 0], [wide, 0], [wide, high], [0, high]], np.float32)
    bench = cv2.resize(
        random.uniform(60, 170, (24, 32)).astype(np.float32), (width, height), interpolation=cv2.INTER_CUBIC
    )
    matrix = cv2.getPerspectiveTransform(source, seen.astype(np.float32))
    # Shrunk by areas first, so that the warp takes no fewer pixels than a lens would.
    shrink = min(1.0, 1.5 * scale)
    small = cv2.resize(label, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA).astype(np.float32)
    matrix = matrix @ np.diag([1.0 / shrink, 1.0 / shrink, 1.0])
    inside = cv2.warpPerspective(np.ones_like(small), matrix, (width, height))
    paper = cv2.warpPerspective(small, matrix, (width, height), flags=cv2.INTER_LINEAR)
    picture = bench * (1.0 - inside) + (25.0 + 0.82 * paper) * inside
    light = (
        1.0
        + random.uniform(-0.35, 0.35) * np.linspace(-1, 1, width)[None]
        + random.uniform(-0.2, 0.2) * np.linspace(-1, 1, height)[:, None]
    )
    picture = cv2.GaussianBlur(picture * light, (0, 0), view.blur)
    picture = picture + random.normal(0.0, 4.0, picture.shape)
    grey = np.clip(picture, 0, 255).astype(np.uint8)
    return np.asarray(cv2.merge([grey, grey, grey]))


def as_jpeg(picture: np.ndarray, quality: int = 88) -> bytes:
    """The bytes of a photo."""
    return bytes(cv2.imencode(".jpg", picture, [cv2.IMWRITE_JPEG_QUALITY, quality])[1])
