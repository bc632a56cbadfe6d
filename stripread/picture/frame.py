"""The frame that every picture of a reading shares: photo with outlines, headline, reasons, and panels to fill.

``compose`` knows nothing of pH, tints or solids: a reading brings its headline and its panels. Nothing rests on
colour alone: each outline has its own line style and a word, each status its sign and its word, each area its hatch.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import SIZE_MM
from stripread.picture.parts import (
    GROUND,
    HEIGHT,
    INK,
    ORANGE,
    PALE,
    SKY,
    WIDTH,
    axes_at,
    clip,
    new_figure,
    pixels,
    readable,
    wrap,
    write,
)
from stripread.states.table import state
from stripread.words import _

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

    from stripread.card.find import CardTrace
    from stripread.reasons import Reason
    from stripread.results import Status

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

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
    figure = new_figure()
    write(figure, _LEFT, 56, clip(title, 62), 15, weight="bold")
    write(figure, _LEFT, HEIGHT - 20, clip(caption, 130), 8.5, colour=PALE)
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
    _draw_panels(figure, panels, top)
    return pixels(figure)


def _draw_panels(figure: Figure, panels: Sequence[Panel], top: float) -> None:
    """Stack panels in the right column from ``top`` (px)."""
    for panel in panels:
        write(figure, _RIGHT, top + 14, panel.title, 10.5, weight="bold", colour=INK)
        axes = axes_at(figure, _RIGHT, top + 26, _RIGHT_W, panel.height)
        panel.draw(axes)
        top += 26 + panel.height + panel.below


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
    shown = state("reading", headline.status)
    chip = {"boxstyle": "round,pad=0.45", "facecolor": shown.tone.light, "edgecolor": "none"}
    at = ((_RIGHT + _RIGHT_W - 8) / WIDTH, 1 - 52 / HEIGHT)
    words = f"{shown.sign}  {shown.word}"
    figure.text(*at, words, fontsize=14, weight="bold", color=GROUND, ha="right", va="center", bbox=chip)
    top = 148.0
    start = float(_RIGHT)
    if headline.before:
        write(figure, start, top, headline.before, 26, colour=PALE)
        start += 66
    figures = len(headline.big) < 7 and not headline.big.isalpha()  # words reach below the line
    write(figure, start, top, headline.big, 62 if figures else 40, weight="bold")
    top += 34
    for line in headline.below:
        for part in wrap(line, _RIGHT_W, 13):
            write(figure, _RIGHT, top, part, 13, colour=INK)
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
            write(figure, x + 26, y, _("… and {n_reasons} more", n_reasons=len(reasons) - n), size, colour=PALE)
            return y + step
        shown = state("reason", reason.severity)
        write(figure, x + 4, y, shown.sign, size, colour=shown.tone.light, weight="bold")
        for line in lines:
            write(figure, x + 26, y, line, size, colour=PALE if reason.severity == "note" else INK)
            y += step
        y += 0.3 * step
    return y


def photo_of(card: CardTrace) -> Image:
    """The photo (H, W, 3) for the screen; a dark stand-in where none could be opened."""
    if card.photo is None:
        return np.zeros((300, 400, 3), dtype=np.uint8)
    return card.photo.to_srgb(card.photo.pixels)


def card_edge_px(card: CardTrace) -> Array | None:
    """The card's corners (4, 2) in the photo; None where it was not found."""
    if card.pose is None:
        return None
    width, height = SIZE_MM
    return card.pose.to_px(np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]]))
