"""What the pictures of readings and checks are put together from: colours, sizes, lines of text, axes, a posterior.

Every place is in px from the picture's top left corner.
"""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.colour import lab_to_rgb, srgb_encode
from stripread.states.table import paper
from stripread.words import SOURCE, number, spoken

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

WIDTH, HEIGHT, DPI = 1600, 1000, 100
INK, PALE, FAINT, GROUND = "#1b2026", "#5d6670", "#c9ced4", paper()
# Okabe and Ito's palette (from memory): told apart by people with any of the common colour blindnesses.
BLUE, SKY, ORANGE, VERMILION = "#0072B2", "#56B4E9", "#E69F00", "#D55E00"


def new_figure() -> Figure:
    """An empty picture. No pyplot: nothing global, so that threads may draw at once."""
    from matplotlib.figure import Figure  # noqa: PLC0415 - heavy, only for a picture

    return Figure(figsize=(WIDTH / DPI, HEIGHT / DPI), dpi=DPI, facecolor=GROUND)


def pixels(figure: Figure) -> Image:
    """The figure drawn: (1000, 1600, 3)."""
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415

    canvas = FigureCanvasAgg(figure)
    canvas.draw()  # type: ignore[no-untyped-call]
    return np.array(memoryview(canvas.buffer_rgba()), dtype=np.uint8)[..., :3].copy()  # type: ignore[no-untyped-call]


def png(image: Image) -> bytes:
    """The picture (h, w, 3) as PNG file."""
    from PIL import Image as Pillow  # noqa: PLC0415

    buffer = io.BytesIO()
    Pillow.fromarray(image).save(buffer, "PNG", compress_level=4)
    return buffer.getvalue()


def axes_at(figure: Figure, x: float, y: float, width: float, height: float) -> Axes:
    """Axes at a place in px from the top left of the picture, without spines."""
    axes = figure.add_axes((x / WIDTH, 1 - (y + height) / HEIGHT, width / WIDTH, height / HEIGHT), facecolor="none")
    for spine in axes.spines.values():
        spine.set_visible(False)
    axes.tick_params(labelsize=9, colors=PALE, length=3)
    axes.set_yticks([])
    if spoken() != SOURCE:
        axes.xaxis.set_major_formatter(lambda x, _place: number(round(x, 10), "g"))  # English: the library's own
    return axes


def write(
    figure: Figure, x: float, y: float, words: str, size: float, *, colour: str = INK, weight: str = "normal"
) -> None:
    """A line of text, its base line's start at (x, y) px from the top left."""
    figure.text(
        x / WIDTH, 1 - y / HEIGHT, readable(words), fontsize=size, color=colour, weight=weight, parse_math=False
    )


def clip(text: str, most: int) -> str:
    """Shorten a name in its middle, so that its end stays to be seen."""
    return text if len(text) <= most else f"{text[: most // 2]}…{text[-(most - most // 2 - 1) :]}"


def readable(text: str) -> str:
    """Replace what the bundled font has no sign for: matplotlib would warn, and draw a box."""
    known = _font_signs()
    return "".join(c if ord(c) in known else "\ufffd" for c in " ".join(text.split()))


def wrap(text: str, width: float, size: float) -> list[str]:
    """Break text into lines of at most ``width`` px at ``size`` points, measured with the font itself."""
    from matplotlib.font_manager import findfont, get_font  # noqa: PLC0415

    font = get_font(findfont("DejaVu Sans"))
    font.set_size(size, DPI)
    lines: list[str] = []
    line = ""
    for word in readable(text).split(" "):
        longer = f"{line} {word}" if line else word
        font.set_text(longer)
        if line and font.get_width_height()[0] / 64 > width:  # the font counts in 1/64 px
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line] if line else lines


def _font_signs() -> frozenset[int]:
    from matplotlib.font_manager import findfont, get_font  # noqa: PLC0415

    return frozenset(get_font(findfont("DejaVu Sans")).get_charmap())


def straighten(photo: Image, quad: Array, width: int = 930) -> Image:
    """The strip (corners (4, 2) px, dipped end first, clockwise from its top left) seen from straight above."""
    quad = np.asarray(quad, dtype=np.float32)
    along = float(np.linalg.norm(quad[1] - quad[0]) + np.linalg.norm(quad[2] - quad[3]))
    across = float(np.linalg.norm(quad[3] - quad[0]) + np.linalg.norm(quad[2] - quad[1]))
    height = round(min(max(width * across / max(along, 1.0), 8.0), float(width)))
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=np.float32)
    flat = cv2.warpPerspective(photo, cv2.getPerspectiveTransform(quad, corners), (width, height))
    return np.asarray(flat, dtype=np.uint8)


def lab_to_display(lab: Array) -> Array:
    """CIELAB D50 of any shape (..., 3) to sRGB values 0 to 1 for the screen, clipped to what it can show."""
    return srgb_encode(lab_to_rgb(lab))


def draw_density(axes: Axes, grid: Array, height: Array, interval: tuple[float, float] | None) -> None:
    """A posterior over grid (N,), height (N,) with its peak at 1; the interval's area is hatched."""
    axes.fill_between(grid, height, color=SKY, alpha=0.3, lw=0)
    if interval is not None:
        ends = np.array(interval)
        inside = np.unique(np.concatenate([ends, grid[(grid > ends[0]) & (grid < ends[1])]]))
        level = np.interp(inside, grid, height)
        axes.fill_between(inside, level, facecolor=SKY, edgecolor=BLUE, hatch="///", lw=0, alpha=0.75)
    axes.plot(grid, height, color=BLUE, lw=2)
