"""The card laid flat: the photo's pixels in the card's own frame, at a fixed number of pixels a millimetre."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card import SIZE_MM
from stripread.errors import Refused
from stripread.photo import Photo
from stripread.pose import CardPose
from stripread.reasons import because

Array = NDArray[np.float64]
Pixels = NDArray[np.uint8]

MARGIN_MM = 8.0
MAX_PX_PER_MM = 8.0
GRID_MM = 4.0  # the pose is worked out at this spacing and interpolated: off by less than 0.01 px on a curled card
MAX_EDGE_MM = 2.6  # 10-90 % width of a marker's edge; wider, and the middle of a 6 mm pad holds its neighbours' light


@dataclass(frozen=True)
class CardView:
    """The rectified card with a margin around it.

    rgb (H, W, 3) uint8 encoded (sRGB when the file had another profile); the card's origin lies at margin_mm from the
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


def card_view(photo: Photo, pose: CardPose) -> CardView:
    """Rectify the card, at the photo's own resolution or ``MAX_PX_PER_MM``, whichever is less."""
    scale = min(pose.px_per_mm, MAX_PX_PER_MM)
    columns, rows = (int(np.ceil((side + 2 * MARGIN_MM) * scale)) for side in SIZE_MM)
    map_x, map_y = _maps(pose, scale, rows, columns)
    pixels, ratio = photo.pixels, pose.px_per_mm / scale
    if ratio > 1.5:
        # Shrinking: average over the area of a view pixel first, or fine print and noise would alias.
        shrink = 1.0 / ratio
        size = (round(pixels.shape[1] * shrink), round(pixels.shape[0] * shrink))
        fx, fy = size[0] / pixels.shape[1], size[1] / pixels.shape[0]
        pixels = np.asarray(cv2.resize(pixels, size, interpolation=cv2.INTER_AREA), dtype=np.uint8)
        map_x, map_y = (map_x + 0.5) * fx - 0.5, (map_y + 0.5) * fy - 0.5
    height, width = pixels.shape[:2]
    rgb = cv2.remap(pixels, map_x, map_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    inside = (map_x >= 0) & (map_y >= 0) & (map_x <= width - 1) & (map_y <= height - 1)
    edge_mm, edge_px = _edges(pose)
    return CardView(photo.to_srgb(np.asarray(rgb, dtype=np.uint8)), scale, MARGIN_MM, inside, edge_mm, edge_px)


def _maps(pose: CardPose, scale: float, rows: int, columns: int) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Working pixel (x, y) of each view pixel, from a coarse grid of the pose."""
    nx = int(np.ceil(columns / scale / GRID_MM)) + 1
    ny = int(np.ceil(rows / scale / GRID_MM)) + 1
    x = np.arange(nx) * GRID_MM - MARGIN_MM
    y = np.arange(ny) * GRID_MM - MARGIN_MM
    grid = pose.to_px(np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)).reshape(ny, nx, 2).astype(np.float32)
    # View pixel i is at (i + 0.5) / scale mm from the margin's edge: (i + 0.5) / scale / GRID_MM on the grid.
    step = np.float32(1.0 / scale / GRID_MM)
    across = np.array([[step, 0, step / 2], [0, step, step / 2]], dtype=np.float32)
    fine = cv2.warpAffine(
        grid, across, (columns, rows), flags=cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE
    )
    return np.ascontiguousarray(fine[..., 0]), np.ascontiguousarray(fine[..., 1])


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
