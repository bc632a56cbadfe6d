"""The card laid flat: the photo's pixels in the card's own frame, at a fixed number of pixels a millimetre."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import SIZE_MM
from stripread.errors import Refused
from stripread.reasons import because

if TYPE_CHECKING:
    from stripread.card.pose import CardPose
    from stripread.photo import Photo

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]
Plane = NDArray[np.float32]

MARGIN_MM = 8.0
MAX_PX_PER_MM = 4.5
GRID_MM = 2.0  # the pose is worked out at this spacing and interpolated: off by 0.02 px at most on a tilted card
MAX_EDGE_MM = 2.1  # 10-90 % width of an edge as measured over 4.4 mm; wider, and a 6 mm pad holds its neighbours' light


@dataclass(frozen=True)
class CardView:
    """The rectified card with a margin around it.

    rgb (H, W, 3) uint8 encoded (sRGB where the file's tone curve differs); the card's origin lies at margin_mm from the
    upper left corner of the upper left pixel; inside (H, W): seen in the photo; edge_mm: 10-90 % width of the markers'
    edges, in the direction where they are widest, NaN when it could not be measured; edge_px the same, working pixels.
    """

    rgb: Pixels
    px_per_mm: float
    margin_mm: float
    inside: NDArray[np.bool_]
    edge_mm: float
    edge_px: float

    def mm_to_view(self, points_mm: Array) -> Array:
        """Card points (N, 2) mm to view pixels (N, 2)."""
        return np.asarray((np.asarray(points_mm, dtype=np.float64) + self.margin_mm) * self.px_per_mm - 0.5)

    def view_to_mm(self, points: Array) -> Array:
        """View pixels (N, 2) to card points (N, 2) mm."""
        return np.asarray((np.asarray(points, dtype=np.float64) + 0.5) / self.px_per_mm - self.margin_mm)

    def crop(self, rect_mm: tuple[float, float, float, float]) -> tuple[Pixels, tuple[float, float]]:
        """Pixels of a rectangle (x, y, w, h) mm, cut to the view, and the place (mm) of its first pixel's centre."""
        x, y, w, h = rect_mm
        low = np.rint(self.mm_to_view(np.array([[x, y]]))[0]).astype(int)
        high = np.rint(self.mm_to_view(np.array([[x + w, y + h]]))[0]).astype(int)
        rows, columns = self.rgb.shape[:2]
        x0, x1 = (int(v) for v in np.clip([low[0], high[0] + 1], 0, columns))
        y0, y1 = (int(v) for v in np.clip([low[1], high[1] + 1], 0, rows))
        at = self.view_to_mm(np.array([[x0, y0]], dtype=np.float64))[0]
        return self.rgb[y0:y1, x0:x1], (float(at[0]), float(at[1]))


def card_view(photo: Photo, pose: CardPose, most_px_per_mm: float = MAX_PX_PER_MM) -> CardView:
    """Rectify the card, at the photo's own resolution or the one given, whichever is less."""
    scale = min(pose.px_per_mm, most_px_per_mm)
    columns, rows = (int(np.ceil((side + 2 * MARGIN_MM) * scale)) for side in SIZE_MM)
    x, y = _map(pose, scale, rows, columns)
    pixels, ratio = photo.pixels, pose.px_per_mm / scale
    if ratio > 1.5:
        # Shrinking: average over the area of a view pixel first, or fine print and noise would alias.
        size = (round(pixels.shape[1] / ratio), round(pixels.shape[0] / ratio))
        factor = np.array(size, dtype=np.float32) / np.array(pixels.shape[1::-1], dtype=np.float32)
        pixels = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
        x, y = (x + 0.5) * factor[0] - 0.5, (y + 0.5) * factor[1] - 0.5
    # Places to 1/32 pixel: twice as fast as floating-point maps.
    whole, part = cv2.convertMaps(x, y, cv2.CV_16SC2)
    rgb = cv2.remap(pixels, whole, part, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    inside = _inside(x, y, pixels.shape[1], pixels.shape[0])
    edge_mm, edge_px = _edges(pose)
    return CardView(photo.for_card(np.asarray(rgb, dtype=np.uint8)), scale, MARGIN_MM, inside, edge_mm, edge_px)


def _map(pose: CardPose, scale: float, rows: int, columns: int) -> tuple[Plane, Plane]:
    """Working pixel x and y of each view pixel, (rows, columns) each, from a coarse grid of the pose.

    Two maps of one channel: OpenCV 5.0 misreads one of two channels.
    """
    cell = max(1, round(GRID_MM * scale))  # view pixels
    nx, ny = -(-columns // cell) + 2, -(-rows // cell) + 2  # one node beyond each side, to interpolate between
    x = ((np.arange(nx) - 0.5) * cell) / scale - MARGIN_MM
    y = ((np.arange(ny) - 0.5) * cell) / scale - MARGIN_MM
    grid = pose.to_px(np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)).reshape(ny, nx, 2).astype(np.float32)
    fine = [
        cv2.resize(np.ascontiguousarray(grid[..., k]), (nx * cell, ny * cell), interpolation=cv2.INTER_LINEAR)
        for k in (0, 1)
    ]
    part = np.s_[cell : cell + rows, cell : cell + columns]
    return np.asarray(fine[0][part], dtype=np.float32), np.asarray(fine[1][part], dtype=np.float32)


def _inside(x: Plane, y: Plane, width: int, height: int) -> NDArray[np.bool_]:
    """Where the map (rows, columns) stays in the picture."""
    seen = cv2.bitwise_and(cv2.inRange(x, 0.0, float(width - 1)), cv2.inRange(y, 0.0, float(height - 1)))
    return np.asarray(seen != 0)


def _edges(pose: CardPose) -> tuple[float, float]:
    """Edge width of the markers (mm, working px) in the direction where it is widest."""
    if not np.isfinite(pose.edge_px).any():
        return float("nan"), float("nan")
    by_side = np.nanmedian(pose.edge_px, axis=0)  # the same side of all markers: motion blurs two of the four
    widest = float(np.max((by_side + np.roll(by_side, 2)) / 2))
    return widest / pose.px_per_mm, widest


def check_sharp(view: CardView) -> None:
    """Refuse a picture so blurred that a 6 mm pad can't be told from its surroundings.

    Raises
    ------
    Refused
        ``blurred``.
    """
    if view.edge_mm > MAX_EDGE_MM:
        raise Refused(because("blurred"))
