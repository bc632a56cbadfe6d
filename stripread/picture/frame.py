"""The frame that every picture of a reading shares: photo with outlines, headline, reasons, and panels to fill.

``compose`` knows nothing of pH, tints or solids: a reading brings its headline and its panels. Nothing is told by
colour alone: each outline has its own line style and a word, each status its sign and its word, each area its hatch.
"""

from __future__ import annotations

import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.reasons import Reason
from stripread.results import Status

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

WIDTH, HEIGHT, DPI = 1600, 1000, 100
INK, PALE, FAINT, GROUND = "#1b2026", "#5d6670", "#c9ced4", "#fbfaf7"
# Okabe and Ito's palette (from memory): told apart by people with any of the common colour blindnesses.
BLUE, SKY, ORANGE, VERMILION, GREEN = "#0072B2", "#56B4E9", "#E69F00", "#D55E00", "#009E73"
_STATUS = {
    "ok": ("✓  ok", GREEN, "white"),
    "doubtful": ("!  doubtful", ORANGE, INK),
    "refused": ("✕  refused", VERMILION, "white"),
}
_SIGN = {"refuse": "✕", "doubt": "!", "note": "·"}
_LEFT, _LEFT_W, _RIGHT, _RIGHT_W, _FOOT = 40, 930, 1010, 550, 40  # px
_STYLES = {
    "card": (SKY, "solid", 2.0),
    "strip": (ORANGE, "dashed", 2.0),
    "pad": ("white", "solid", 1.6),
    "window": (SKY, "dotted", 2.2),
}


@dataclass(frozen=True)
class Outline:
    """One outline on the photo: points (N, 2) in the photo's pixels, what it is, and a short label."""

    points: Array
    what: Literal["card", "strip", "pad", "window"]
    label: str = ""


@dataclass(frozen=True)
class Headline:
    """The value in big figures, with a small word before it and lines below it."""

    status: Status
    big: str
    before: str = ""
    below: tuple[str, ...] = ()


@dataclass(frozen=True)
class Panel:
    """One panel of the right column: its title, height (px) of its axes, and what draws into them."""

    title: str
    height: int
    draw: Callable[[Axes], None]
    below: int = 30  # px kept free under the axes, for tick labels


def compose(
    photo: Image,
    outlines: Sequence[Outline],
    headline: Headline,
    reasons: Sequence[Reason],
    panels: Sequence[Panel],
    *,
    title: str = "",
    caption: str = "",
    ribbon: Image | None = None,
    words_px: int = 150,
) -> Image:
    """Draw one picture of a reading.

    Parameters
    ----------
    photo
        Upright photo, shape (H, W, 3), uint8. It is cropped to the outlines (if any) and reduced.
    outlines, headline, reasons, panels
        What to show; panels go into the right column from the top.
    title, caption
        The photo's name above it; profile and software in small print at the foot.
    words_px
        Height kept for the reasons below the photo.
    ribbon
        A long picture shown under the photo (the strip, straightened), shape (h, w, 3), or None.

    Returns
    -------
    Image of shape (1000, 1600, 3), uint8.
    """
    from matplotlib.backends.backend_agg import FigureCanvasAgg  # noqa: PLC0415 - heavy, only for a picture
    from matplotlib.figure import Figure  # noqa: PLC0415

    figure = Figure(figsize=(WIDTH / DPI, HEIGHT / DPI), dpi=DPI, facecolor=GROUND)
    canvas = FigureCanvasAgg(figure)  # no pyplot: nothing global, so that threads may draw at once
    _text(figure, _LEFT, 56, clip(title, 62), 15, weight="bold")
    _text(figure, _LEFT, HEIGHT - 20, clip(caption, 130), 8.5, colour=PALE)
    room = 800 if headline.status == "refused" else 860 - words_px  # else reasons stand below
    bottom, width = _draw_photo(figure, photo, outlines, height=room if ribbon is None else room - 110)
    if ribbon is not None:
        height = float(np.clip(width * ribbon.shape[0] / ribbon.shape[1], 36, 90))
        axes = axes_at(figure, _LEFT, bottom + 14, width, height)
        axes.imshow(ribbon, aspect="auto", interpolation="bilinear")
        axes.set_axis_off()
        bottom += 14 + height
    top = _draw_headline(figure, headline)
    if headline.status == "refused":  # what to do is the message then: large, where else the value stands
        top = _draw_reasons(figure, reasons, (_RIGHT, top + 6, _RIGHT_W, HEIGHT / 2 - top), 14.0) + 10
    else:
        _draw_reasons(figure, reasons, (_LEFT, bottom + 28, _LEFT_W, HEIGHT - _FOOT - bottom - 24), 11.0)
    draw_panels(figure, panels, top)
    canvas.draw()  # type: ignore[no-untyped-call]
    return np.array(memoryview(canvas.buffer_rgba()), dtype=np.uint8)[..., :3].copy()  # type: ignore[no-untyped-call]


def png(image: Image) -> bytes:
    """The picture as PNG file."""
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
    return axes


def draw_panels(figure: Figure, panels: Sequence[Panel], top: float) -> float:
    """Stack panels in the right column from ``top`` (px); returns where they end."""
    for panel in panels:
        _text(figure, _RIGHT, top + 14, panel.title, 10.5, weight="bold", colour=INK)
        axes = axes_at(figure, _RIGHT, top + 26, _RIGHT_W, panel.height)
        panel.draw(axes)
        top += 26 + panel.height + panel.below
    return top


def clip(text: str, most: int) -> str:
    """Shorten a name in its middle, so that its end stays to be seen."""
    return text if len(text) <= most else f"{text[: most // 2]}…{text[-(most - most // 2 - 1) :]}"


def readable(text: str) -> str:
    """Replace what the bundled font has no sign for: matplotlib would warn, and draw a box."""
    known = _font_signs()
    return "".join(c if ord(c) in known else "\ufffd" for c in " ".join(text.split()))


def straighten(photo: Image, quad: Array, width: int = 930) -> Image:
    """The strip (corners (4, 2) px, dipped end first, clockwise from its top left) seen from straight above."""
    quad = np.asarray(quad, dtype=np.float32)
    along = float(np.linalg.norm(quad[1] - quad[0]) + np.linalg.norm(quad[2] - quad[3]))
    across = float(np.linalg.norm(quad[3] - quad[0]) + np.linalg.norm(quad[2] - quad[1]))
    height = round(min(max(width * across / max(along, 1.0), 8.0), float(width)))
    corners = np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=np.float32)
    flat = cv2.warpPerspective(photo, cv2.getPerspectiveTransform(quad, corners), (width, height))
    return np.asarray(flat, dtype=np.uint8)


def _text(
    figure: Figure, x: float, y: float, words: str, size: float, *, colour: str = INK, weight: str = "normal"
) -> None:
    """A line of text, its base line's start at (x, y) px from the top left."""
    figure.text(
        x / WIDTH, 1 - y / HEIGHT, readable(words), fontsize=size, color=colour, weight=weight, parse_math=False
    )


def _font_signs() -> frozenset[int]:
    from matplotlib.font_manager import findfont, get_font  # noqa: PLC0415

    return frozenset(get_font(findfont("DejaVu Sans")).get_charmap())


def _draw_photo(figure: Figure, photo: Image, outlines: Sequence[Outline], height: int) -> tuple[float, float]:
    """The photo with its outlines; returns its lower edge and its width in px."""
    from matplotlib.patheffects import withStroke  # noqa: PLC0415

    x0, y0, x1, y1 = _crop(photo, outlines)
    part = photo[y0:y1, x0:x1]
    scale = min(_LEFT_W / part.shape[1], height / part.shape[0])
    size = (max(1, round(part.shape[1] * scale)), max(1, round(part.shape[0] * scale)))
    small = cv2.resize(part, size, interpolation=cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC)
    top = 76
    axes = axes_at(figure, _LEFT, top, *size)
    axes.imshow(small, extent=(x0, x1, y1, y0), interpolation="nearest", aspect="auto")
    axes.set_xlim(x0, x1)
    axes.set_ylim(y1, y0)
    axes.set_xticks([])
    for outline in outlines:
        colour, style, width = _STYLES[outline.what]
        closed = np.vstack([outline.points, outline.points[:1]])
        axes.plot(closed[:, 0], closed[:, 1], color="black", lw=width + 2.0, alpha=0.55, solid_joinstyle="miter")
        axes.plot(closed[:, 0], closed[:, 1], color=colour, lw=width, ls=style)
        if outline.label:
            middle = outline.what == "pad"
            # A strip is named at the end without pads, where the name hides none of their numbers.
            at = outline.points.mean(axis=0) if middle else outline.points[1 if outline.what == "strip" else 0]
            axes.annotate(
                readable(outline.label),
                at,
                xytext=(0, 0) if middle else (3, 5),
                textcoords="offset points",
                color="white",
                fontsize=11,
                weight="bold",
                ha="center" if middle else "left",
                va="center" if middle else "bottom",
                path_effects=[withStroke(linewidth=2.5, foreground="black")],
                parse_math=False,
            )
    return top + size[1], size[0]


def _crop(photo: Image, outlines: Sequence[Outline]) -> tuple[int, int, int, int]:
    """The part of the photo to show: around the outlines with some margin, else all of it."""
    height, width = photo.shape[:2]
    if not outlines:
        return 0, 0, width, height
    points = np.vstack([o.points for o in outlines])
    low, high = points.min(axis=0), points.max(axis=0)
    margin = 0.08 * float(max(high - low)) + 4
    x0, y0 = np.clip(np.floor(low - margin), 0, [width - 2, height - 2]).astype(int)
    x1, y1 = np.clip(np.ceil(high + margin), [x0 + 2, y0 + 2], [width, height]).astype(int)
    return int(x0), int(y0), int(x1), int(y1)


def _draw_headline(figure: Figure, headline: Headline) -> float:
    """Status, value and interval at the top of the right column; returns where they end (px)."""
    words, ground, ink = _STATUS[headline.status]
    chip = {"boxstyle": "round,pad=0.45", "facecolor": ground, "edgecolor": "none"}
    at = ((_RIGHT + _RIGHT_W - 8) / WIDTH, 1 - 52 / HEIGHT)
    figure.text(*at, words, fontsize=14, weight="bold", color=ink, ha="right", va="center", bbox=chip)
    top = 148.0
    start = float(_RIGHT)
    if headline.before:
        _text(figure, start, top, headline.before, 26, colour=PALE)
        start += 66
    figures = len(headline.big) < 7 and not headline.big.isalpha()  # words reach below the line
    _text(figure, start, top, headline.big, 62 if figures else 40, weight="bold")
    top += 34
    for line in headline.below:
        for part in wrap(line, _RIGHT_W, 13):
            _text(figure, _RIGHT, top, part, 13, colour=INK)
            top += 24
    return top


def _draw_reasons(
    figure: Figure, reasons: Sequence[Reason], box: tuple[float, float, float, float], size: float
) -> float:
    """The reasons in words, each with the sign of its severity, as far as there is room; returns where they end."""
    x, y, width, height = box
    step, end = size * 1.9, y + height
    for n, reason in enumerate(reasons):
        lines = wrap(reason.message, width - 26, size)
        if y + step * len(lines) > end:
            _text(figure, x + 26, y, f"… and {len(reasons) - n} more", size, colour=PALE)
            return y + step
        colour = {"refuse": VERMILION, "doubt": INK, "note": PALE}[reason.severity]
        _text(figure, x + 4, y, _SIGN[reason.severity], size, colour=colour, weight="bold")
        for line in lines:
            _text(figure, x + 26, y, line, size, colour=PALE if reason.severity == "note" else INK)
            y += step
        y += 0.3 * step
    return y


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
