"""The picture of a pH reading: the photo with what was found, pad colours beside the curve's, posterior, value.

It takes plain arrays, so that it can be drawn from a live reading, from a stored one, or from nothing but a photo that
was refused. Other kinds of readings bring their own panels to ``picture.compose``.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from stripread.colour import lab_to_rgb, srgb_encode
from stripread.picture import frame
from stripread.picture.frame import BLUE, FAINT, INK, PALE, SKY, VERMILION, Headline, Outline, Panel
from stripread.reasons import Reason
from stripread.results import Alternative, Interval, Status

if TYPE_CHECKING:
    from matplotlib.axes import Axes

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

ALIKE_DELTA_E = 5.0  # Delta E*ab up to which a colour of the curve is marked as like the pad's: for the eye only
_HATCHES = ("", "///", "...", "xxx", "\\\\\\", "++")
_SHADES = (BLUE, SKY, "#8d99a6", "#E69F00", "#CC79A7", "#F0E442")


@dataclass(frozen=True)
class OverlayInput:
    """What a picture of a pH reading shows; None for whatever the reading did not come to.

    photo (H, W, 3) uint8, upright; card_px (4, 2) and strip_px (4, 2; dipped end first, clockwise from its top left)
    and pads_px (P, 4, 2) in the photo's pixels; pad_labs (P, 3) CIELAB D50; grid_ph (N,), density (N,) posterior in any
    unit; curve_labs (N, P, 3) the profile's colours on the grid; budget: variance in pH by cause.
    """

    photo: Image
    status: Status
    title: str = ""
    caption: str = ""
    card_px: Array | None = None
    strip_px: Array | None = None
    pads_px: Array | None = None
    pad_labs: Array | None = None
    grid_ph: Array | None = None
    density: Array | None = None
    curve_labs: Array | None = None
    ph: float | None = None
    interval: Interval | None = None
    alternatives: tuple[Alternative, ...] = ()
    reasons: tuple[Reason, ...] = ()
    budget: dict[str, float] = field(default_factory=dict)


def draw_overlay(given: OverlayInput) -> Image:
    """Draw the picture of a pH reading: (1000, 1600, 3) uint8. ``picture.png`` makes a file of it."""
    ribbon = None
    if given.strip_px is not None:
        ribbon = frame.straighten(given.photo, given.strip_px)
    return frame.compose(
        given.photo,
        _outlines(given),
        _headline(given),
        given.reasons,
        _panels(given),
        title=given.title,
        caption=given.caption,
        ribbon=ribbon,
    )


def lab_to_display(lab: Array) -> Array:
    """CIELAB D50 of any shape (..., 3) to sRGB values 0 to 1 for the screen, clipped to what it can show."""
    return srgb_encode(lab_to_rgb(lab))


def _outlines(given: OverlayInput) -> list[Outline]:
    outlines = []
    if given.card_px is not None:
        outlines.append(Outline(given.card_px, "card", "card"))
    if given.strip_px is not None:
        outlines.append(Outline(given.strip_px, "strip", "strip"))
    if given.pads_px is not None:
        outlines += [Outline(quad, "pad", str(n + 1)) for n, quad in enumerate(given.pads_px)]
    return outlines


def _headline(given: OverlayInput) -> Headline:
    if given.ph is None:
        return Headline(given.status, "no reading")
    below = []
    if given.interval is not None:
        below.append(f"95 % interval {given.interval[0]:.2f} to {given.interval[1]:.2f}")
    for other in given.alternatives[:2]:
        below.append(
            f"or {other.ph:.2f} ({other.interval[0]:.2f} to {other.interval[1]:.2f}), weight {100 * other.weight:.0f} %"
        )
    return Headline(given.status, f"{given.ph:.2f}", "pH", tuple(below))


def _panels(given: OverlayInput) -> list[Panel]:
    panels = []
    pads = 0 if given.pad_labs is None else len(given.pad_labs)
    if given.status == "refused":
        panels.append(Panel("What was found", 30, lambda axes: _found(axes, given), below=16))
    if given.density is not None and given.grid_ph is not None and given.ph is not None and given.density.max() > 0:
        panels.append(Panel("How likely each pH is", 190, lambda axes: _posterior(axes, given), below=50))
    if pads and given.curve_labs is not None and given.grid_ph is not None:
        title = "Each pad (left) beside the profile's colours · underlined: alike"
        panels.append(Panel(title, min(250, 62 * pads), lambda axes: _pad_bars(axes, given), below=50))
    if any(v > 0 for v in given.budget.values()):
        title = "Where the uncertainty comes from"
        if (less := -sum(v for v in given.budget.values() if v < 0)) > 0:
            share = 100 * less / sum(v for v in given.budget.values() if v > 0)
            title += f" (correlation takes off {share:.0f} %)"
        panels.append(Panel(title, 24, lambda axes: _budget(axes, given.budget), below=0))
    return panels


def _found(axes: Axes, given: OverlayInput) -> None:
    """How far a refused photo came: card, strip, pads, each with its sign."""
    axes.set_axis_off()
    for n, (name, thing) in enumerate((("card", given.card_px), ("strip", given.strip_px), ("pads", given.pads_px))):
        sign, colour = ("✕", VERMILION) if thing is None else ("✓", frame.GREEN)
        axes.text(0.02 + n * 0.24, 0.5, sign, fontsize=14, weight="bold", color=colour, va="center")
        axes.text(0.07 + n * 0.24, 0.5, name, fontsize=12, color=INK, va="center")


def _posterior(axes: Axes, given: OverlayInput) -> None:
    """The posterior where its mass lies, the 95 % interval hatched, the value and other modes marked."""
    assert given.grid_ph is not None
    assert given.density is not None
    assert given.ph is not None
    grid, height = given.grid_ph, given.density / max(float(given.density.max()), 1e-300)
    low, high = _zoom(grid, height)
    axes.fill_between(grid, height, color=SKY, alpha=0.30, lw=0)
    if given.interval is not None:
        ends = np.array(given.interval)
        inside = np.unique(np.concatenate([ends, grid[(grid > ends[0]) & (grid < ends[1])]]))
        level = np.interp(inside, grid, height)
        axes.fill_between(inside, level, facecolor=SKY, edgecolor=BLUE, hatch="///", lw=0, alpha=0.75)
    axes.plot(grid, height, color=BLUE, lw=2)
    axes.plot([given.ph, given.ph], [0, 1.04], color=INK, lw=2)
    axes.text(given.ph, 1.07, f"{given.ph:.2f}", ha="center", va="bottom", fontsize=11, weight="bold", color=INK)
    for other in given.alternatives:
        top = float(np.interp(other.ph, grid, height))
        axes.plot([other.ph, other.ph], [0, top + 0.04], color=INK, lw=1.5, ls=":")
        axes.text(other.ph, top + 0.07, f"or {other.ph:.2f}", ha="center", va="bottom", fontsize=10, color=INK)
    if given.interval is not None:
        axes.plot(given.interval, [-0.05, -0.05], color=INK, lw=3, solid_capstyle="butt", clip_on=False)
    axes.set_xlim(low, high)
    axes.set_ylim(-0.1, 1.25)
    axes.spines["bottom"].set(visible=True, color=FAINT)
    axes.set_xlabel("pH   (bar below the curve: 95 % interval)", fontsize=9.5, color=PALE, labelpad=2)


def _zoom(grid: Array, height: Array) -> tuple[float, float]:
    """The part of the grid worth showing: all mass above a thousandth of the peak, at least 1 pH wide."""
    seen = grid[height > 1e-3]
    low, high = float(seen.min()), float(seen.max())
    half = max(0.6 * (high - low), 0.5)
    middle = (low + high) / 2
    return max(middle - half, float(grid.min())), min(middle + half, float(grid.max()))


def _pad_bars(axes: Axes, given: OverlayInput) -> None:
    """For each pad its colour, number and CIELAB, and the profile's colours over pH with the places that look alike."""
    assert given.grid_ph is not None
    assert given.pad_labs is not None
    assert given.curve_labs is not None
    grid, count = given.grid_ph, len(given.pad_labs)
    low, high = float(grid.min()), float(grid.max())
    start = low - 0.42 * (high - low)  # the swatches stand left of the bars, in the same axes
    axes.set_xlim(start, high)
    axes.set_ylim(count, 0)
    wide = high - start
    for n, lab in enumerate(given.pad_labs):
        colours = lab_to_display(given.curve_labs[:, n])
        axes.imshow(colours[None], extent=(low, high, n + 0.72, n + 0.1), aspect="auto", interpolation="bilinear")
        alike = np.sqrt(((given.curve_labs[:, n] - lab) ** 2).sum(axis=1)) < ALIKE_DELTA_E
        axes.fill_between(grid, n + 0.78, n + 0.86, where=alike.tolist(), color=INK, lw=0)
        axes.text(start, n + 0.41, str(n + 1), fontsize=12, weight="bold", color=INK, va="center")
        words = "not measured"
        if np.isfinite(lab).all():
            swatch = [start + 0.035 * wide, start + 0.125 * wide]
            axes.fill_between(swatch, n + 0.1, n + 0.72, color=tuple(lab_to_display(lab)), lw=0)
            words = f"L {lab[0]:.0f}\na {lab[1]:+.0f} b {lab[2]:+.0f}".replace("-", "\u2212")
        axes.text(start + 0.14 * wide, n + 0.41, words, fontsize=8, color=PALE, va="center", linespacing=1.3)
    if given.ph is not None:
        for n in range(count):
            axes.plot([given.ph] * 2, [n + 0.04, n + 0.78], color="white", lw=4, solid_capstyle="butt")
            axes.plot([given.ph] * 2, [n + 0.04, n + 0.78], color="black", lw=1.8, solid_capstyle="butt")
    axes.set_xticks([t for t in range(15) if low <= t <= high])
    axes.set_xlabel("pH   (line: the reading)" if given.ph is not None else "pH", fontsize=9.5, color=PALE, labelpad=2)


def _budget(axes: Axes, budget: dict[str, float]) -> None:
    """One bar cut by cause; the shares are of the variance, causes that take off by correlation are only named."""
    positive = sorted(((v, k) for k, v in budget.items() if v > 0), reverse=True)
    total = sum(v for v, _ in positive)
    shown = positive[:5]
    if (rest := total - sum(v for v, _ in shown)) > 0:
        shown.append((rest, "other"))
    start = 0.0
    for n, (value, name) in enumerate(shown):
        share = value / total
        look: dict[str, Any] = {"color": _SHADES[n], "hatch": _HATCHES[n], "edgecolor": "white", "clip_on": False}
        axes.barh(0.0, share, left=start, height=1.0, **look)
        x, y = (n % 3) / 3, -1.35 - 1.0 * (n // 3)  # the legend, three to a line
        axes.barh(y, 0.028, left=x, height=0.6, **look)
        words = frame.clip(f"{name.replace('_', ' ')} {100 * share:.0f} %", 26)
        axes.text(x + 0.037, y, words, fontsize=9, color=INK, va="center", parse_math=False)
        start += share
    axes.set_xlim(0, 1)
    axes.set_ylim(-0.5, 0.5)
    axes.set_xticks([])
