"""The printed reference card as data: where each mark, patch, lane and window lies, in millimetres.

All in the card's own frame: origin at its top left corner, x to the right, y down. The drawing (``cardpdf``) and the
reader take every number from here. Six fiducials frame the card; the two bands and the two columns between them hold
7 mm patches: two copies of a neutral ramp at opposite ends (so that a light gradient can't pass for a tone curve),
whites everywhere (the light field), and colours. How the colours were chosen: ``docs/card-design.md``.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from functools import cache
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Role = Literal["grey", "colour", "white", "scale"]

VERSION = "1"
SIZE_MM = (148.0, 104.0)
LANE_MM = (24.0, 25.0, 100.0, 24.0)
LANE_PRINT_MM = ((23.5, 22.2, 16.0, 2.3), (111.0, 22.2, 13.5, 2.3))  # x, y, w, h of the arrow and words above the lane
WINDOW_RADIUS_MM = 13.0
WINDOW_CENTRES_MM = {"sample": (46.0, 67.0), "blank": (102.0, 67.0)}
RING_RADIUS_MM = 7.0  # a thin grey ring inside each window, seen through the liquid: its contrast tells haze
RING_WIDTH_MM = 0.6
RING_SRGB = (124, 124, 124)
MARKER_MM = 15.0
DICTIONARY = "DICT_4X4_50"
MARKER_CORNERS_MM = {  # id -> top left corner of the black square
    7: (4.0, 4.0),
    18: (66.5, 4.0),
    25: (129.0, 4.0),
    31: (4.0, 85.0),
    38: (66.5, 85.0),
    44: (129.0, 85.0),
}
PATCH_MM = 7.0
PITCH_MM = 8.0

# sRGB levels of the neutral ramp: even in CIELAB lightness, from the printer's black to just under paper white
GREYS = (0, 25, 43, 62, 82, 103, 124, 147, 170, 193, 218, 242)


@dataclass(frozen=True)
class Patch:
    """One flat patch: its rectangle (x, y, w, h in mm), the sRGB sent to the printer and what it is for."""

    id: str
    rect_mm: tuple[float, float, float, float]
    srgb: tuple[int, int, int]
    role: Role


@dataclass(frozen=True)
class Window:
    """A round place for a vial or a heap of solid."""

    centre_mm: tuple[float, float]
    radius_mm: float


@dataclass(frozen=True)
class Marker:
    """One fiducial of ``DICTIONARY``: its id and its corners in mm, clockwise from the top left, shape (4, 2)."""

    id: int
    corners_mm: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class CardLayout:
    """Everything printed on the card that the reader relies on."""

    version: str
    size_mm: tuple[float, float]
    lane_mm: tuple[float, float, float, float]
    windows: dict[str, Window]
    patches: tuple[Patch, ...]
    markers: tuple[Marker, ...]

    def nominal_srgb(self) -> NDArray[np.float64]:
        """sRGB sent to the printer, one row a patch, shape (N, 3), 0 to 1."""
        return np.array([p.srgb for p in self.patches], dtype=np.float64) / 255.0


def _block(left: float, top: float, columns: int, rows: int) -> list[tuple[float, float]]:
    """Top left corners (mm) of a block of cells, row by row."""
    return [(left + c * PITCH_MM, top + r * PITCH_MM) for r in range(rows) for c in range(columns)]


# 36 colours, in the order in which the colour cells are filled: an I-optimal choice for what strips and tints look
# like, neighbours unlike each other; computed by tests/design_card.py (docs/card-design.md)
# fmt: off
COLOURS: tuple[tuple[int, int, int], ...] = (
    (32, 104, 80), (248, 176, 200), (200, 248, 176), (104, 128, 200), (224, 176, 128), (32, 56, 104),
    (248, 224, 128), (224, 152, 248), (248, 152, 32), (152, 200, 80), (152, 200, 248), (80, 104, 200),
    (104, 104, 56), (248, 224, 32), (32, 224, 248), (56, 56, 128), (128, 80, 104), (32, 56, 200),
    (176, 248, 248), (248, 248, 80), (104, 224, 176), (104, 56, 32), (224, 80, 176), (248, 248, 200),
    (32, 152, 248), (200, 224, 80), (176, 128, 248), (32, 104, 128), (248, 248, 152), (200, 200, 248),
    (248, 200, 104), (32, 176, 248), (176, 128, 56), (32, 104, 248), (128, 200, 104), (248, 128, 128),
)
# fmt: on


@cache
def layout() -> CardLayout:
    """The card of this version."""
    top = [_block(23.0, 4.5, 5, 1) + _block(84.5, 4.5, 5, 1), _block(23.0, 12.5, 5, 1) + _block(84.5, 12.5, 5, 1)]
    bottom = [_block(23.0, 84.5, 5, 1) + _block(84.5, 84.5, 5, 1), _block(23.0, 92.5, 5, 1) + _block(84.5, 92.5, 5, 1)]
    left, right = _block(4.0, 24.5, 2, 7), _block(129.0, 24.5, 2, 7)
    centre = _block(66.5, 55.5, 2, 3)
    # Ramp A runs dark to light along the top, ramp B light to dark along the bottom; two steps of each in a column.
    grey_cells = [*top[1], left[6], left[7], *bottom[0][::-1], right[7], right[6]]
    white_cells = [top[0][0], top[0][5], top[0][9], bottom[1][0], bottom[1][4], bottom[1][9]]
    white_cells += [left[1], left[4], left[12], right[0], right[9], right[13], centre[1], centre[4]]
    taken = set(grey_cells) | set(white_cells)
    colour_cells = [c for c in [*top[0], *left, *centre, *right, *bottom[1]] if c not in taken]
    patches: list[Patch] = []
    for n, (x, y) in enumerate(grey_cells):
        level = GREYS[n % len(GREYS)]
        name = f"{'ab'[n // len(GREYS)]}{n % len(GREYS):02d}"
        patches.append(Patch(name, (x, y, PATCH_MM, PATCH_MM), (level, level, level), "grey"))
    for n, (x, y) in enumerate(white_cells):
        patches.append(Patch(f"w{n:02d}", (x, y, PATCH_MM, PATCH_MM), (255, 255, 255), "white"))
    for n, ((x, y), srgb) in enumerate(zip(colour_cells, COLOURS, strict=True)):
        patches.append(Patch(f"c{n:02d}", (x, y, PATCH_MM, PATCH_MM), srgb, "colour"))
    markers = tuple(
        Marker(number, ((x, y), (x + MARKER_MM, y), (x + MARKER_MM, y + MARKER_MM), (x, y + MARKER_MM)))
        for number, (x, y) in MARKER_CORNERS_MM.items()
    )
    windows = {name: Window(centre, WINDOW_RADIUS_MM) for name, centre in WINDOW_CENTRES_MM.items()}
    return CardLayout(VERSION, SIZE_MM, LANE_MM, windows, tuple(patches), markers)


def layout_json(page_mm: tuple[float, float], origin_mm: tuple[float, float]) -> str:
    """The layout as JSON for outside measurements; ``origin_mm`` is the first card's top left corner on the page."""
    card = layout()
    table: dict[str, Any] = {
        "version": card.version,
        "size_mm": list(card.size_mm),
        "page_mm": list(page_mm),
        "origin_mm": list(origin_mm),
        "lane_mm": list(card.lane_mm),
        "windows": {
            name: {"centre_mm": list(w.centre_mm), "radius_mm": w.radius_mm} for name, w in card.windows.items()
        },
        "patches": [
            {"id": p.id, "rect_mm": list(p.rect_mm), "srgb": list(p.srgb), "role": p.role} for p in card.patches
        ],
        "markers": [{"id": m.id, "corners_mm": [list(c) for c in m.corners_mm]} for m in card.markers],
    }
    return json.dumps(table, indent=1)
