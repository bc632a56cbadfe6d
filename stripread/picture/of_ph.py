"""The picture of a pH reading: the photo with what was found, pad colours beside the curve's, posterior, value.

``PhPicture`` holds plain arrays, so that it can be drawn from a reading or from nothing but a photo that was refused.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np
from numpy.typing import NDArray

from stripread.picture.frame import Headline, Outline, Panel, card_edge_px, compose, photo_of
from stripread.picture.parts import (
    BLUE,
    FAINT,
    INK,
    PALE,
    SKY,
    clip,
    draw_density,
    lab_to_display,
    png,
    straighten,
)
from stripread.states.table import state
from stripread.words import _, number, say

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stripread.ph.profile import Profile
    from stripread.ph.read import PhTrace
    from stripread.reasons import Reason
    from stripread.results import Alternative, Interval, Status

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

ALIKE_DELTA_E = 5.0  # Delta E*ab up to which a colour of the curve is marked as like the pad's: for the eye only
_HATCHES = ("", "///", "...", "xxx", "\\\\\\", "++")
_SHADES = (BLUE, SKY, "#8d99a6", "#E69F00", "#CC79A7", "#F0E442")


@dataclass(frozen=True)
class PhPicture:
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


def ph_picture(trace: PhTrace, profile: Profile) -> bytes:
    """PNG file of the reading; whatever the reading did not come to is left out."""
    assert trace.reading is not None
    reading, first = trace.reading, trace.first
    estimate = None if first is None else first.estimate
    pads = None if first is None or first.samples is None else first.samples.corners_mm
    grid = None if estimate is None else np.arange(profile.kind.range[0], profile.kind.range[1] + 0.01, 0.02)
    shown = PhPicture(
        photo=photo_of(trace.card),
        status=reading.status,
        title=Path(reading.stamp.photo).name,
        caption=_(
            "{name} · {software} · photo {sha256}",
            name=profile.name,
            software=reading.stamp.software,
            sha256=reading.stamp.sha256[:12],
        ),
        card_px=card_edge_px(trace.card),
        strip_px=None if first is None else _to_px(trace, first.strip.outline_mm),
        pads_px=None if pads is None else np.array([_to_px(trace, quad) for quad in pads]),
        pad_labs=None if first is None or first.pads is None else first.pads.lab,
        grid_ph=grid,
        density=None if estimate is None or grid is None else np.interp(grid, estimate.grid, estimate.density),
        curve_labs=None if grid is None else profile.curve(grid),
        ph=reading.ph,
        interval=reading.interval,
        alternatives=reading.alternatives,
        reasons=reading.reasons,
        budget=reading.budget,
    )
    return png(draw_ph(shown))


def draw_ph(shown: PhPicture) -> Image:
    """Draw the picture of a pH reading: (1000, 1600, 3) uint8. ``parts.png`` makes a file of it."""
    ribbon = None
    if shown.strip_px is not None:
        ribbon = straighten(shown.photo, shown.strip_px)
    return compose(
        shown.photo,
        _outlines(shown),
        _headline(shown),
        shown.reasons,
        _panels(shown),
        title=shown.title,
        caption=shown.caption,
        ribbon=ribbon,
    )


def _to_px(trace: PhTrace, points_mm: Array) -> Array | None:
    return None if trace.card.pose is None else np.asarray(trace.card.pose.to_px(points_mm))


def _outlines(shown: PhPicture) -> list[Outline]:
    outlines = []
    if shown.card_px is not None:
        outlines.append(Outline(shown.card_px, "card", _("card")))
    if shown.strip_px is not None:
        outlines.append(Outline(shown.strip_px, "strip", _("strip")))
    if shown.pads_px is not None:
        outlines += [Outline(quad, "pad", str(n + 1)) for n, quad in enumerate(shown.pads_px)]
    return outlines


def _headline(shown: PhPicture) -> Headline:
    if shown.ph is None:
        return Headline(shown.status, _("no reading"))
    below = []
    if shown.interval is not None:
        below.append(
            _(
                "95 % interval {interval_0:.2f} to {interval_1:.2f}",
                interval_0=shown.interval[0],
                interval_1=shown.interval[1],
            )
        )
    for other in shown.alternatives[:2]:
        below.append(
            _(
                "or {ph:.2f} ({interval_0:.2f} to {interval_1:.2f}), weight {weight:.0f} %",
                ph=other.ph,
                interval_0=other.interval[0],
                interval_1=other.interval[1],
                weight=100 * other.weight,
            )
        )
    return Headline(shown.status, number(shown.ph, ".2f"), "pH", tuple(below))


def _panels(shown: PhPicture) -> list[Panel]:
    panels = []
    pads = 0 if shown.pad_labs is None else len(shown.pad_labs)
    if shown.status == "refused":
        panels.append(Panel(_("What was found"), 30, lambda axes: _found(axes, shown), below=16))
    if shown.density is not None and shown.grid_ph is not None and shown.ph is not None and shown.density.max() > 0:
        panels.append(Panel(_("How likely each pH is"), 190, lambda axes: _posterior(axes, shown), below=50))
    if pads and shown.curve_labs is not None and shown.grid_ph is not None:
        title = _("Each pad (left) beside the profile's colours · underlined: alike")
        panels.append(Panel(title, min(250, 62 * pads), lambda axes: _pad_bars(axes, shown), below=50))
    if any(v > 0 for v in shown.budget.values()):
        title = _("Where the uncertainty comes from")
        if (less := -sum(v for v in shown.budget.values() if v < 0)) > 0:
            share = 100 * less / sum(v for v in shown.budget.values() if v > 0)
            what = _("the comparison") if shown.budget.get("comparison", 0.0) < 0 else _("correlation")
            title += _(" ({what} takes off {share:.0f} %)", what=what, share=share)
        panels.append(Panel(title, 24, lambda axes: _budget(axes, shown.budget), below=0))
    return panels


def _found(axes: Axes, shown: PhPicture) -> None:
    """How far a refused photo came: card, strip, pads, each with its sign."""
    axes.set_axis_off()
    for n, (name, thing) in enumerate(
        ((_("card"), shown.card_px), (_("strip"), shown.strip_px), (_("pads"), shown.pads_px))
    ):
        shown_as = state("part", "missing" if thing is None else "found")
        colour = shown_as.tone.light
        axes.text(0.02 + n * 0.24, 0.5, shown_as.sign, fontsize=14, weight="bold", color=colour, va="center")
        axes.text(0.07 + n * 0.24, 0.5, name, fontsize=12, color=INK, va="center")


def _posterior(axes: Axes, shown: PhPicture) -> None:
    """The posterior where its mass lies, the 95 % interval hatched, the value and other modes marked."""
    assert shown.grid_ph is not None
    assert shown.density is not None
    assert shown.ph is not None
    grid, height = shown.grid_ph, shown.density / max(float(shown.density.max()), 1e-300)
    low, high = _zoom(grid, height)
    draw_density(axes, grid, height, shown.interval)
    axes.plot([shown.ph, shown.ph], [0, 1.04], color=INK, lw=2)
    axes.text(shown.ph, 1.07, number(shown.ph, ".2f"), ha="center", va="bottom", fontsize=11, weight="bold", color=INK)
    for other in shown.alternatives:
        top = float(np.interp(other.ph, grid, height))
        axes.plot([other.ph, other.ph], [0, top + 0.04], color=INK, lw=1.5, ls=":")
        axes.text(other.ph, top + 0.07, _("or {ph:.2f}", ph=other.ph), ha="center", va="bottom", fontsize=10, color=INK)
    if shown.interval is not None:
        axes.plot(shown.interval, [-0.05, -0.05], color=INK, lw=3, solid_capstyle="butt", clip_on=False)
    axes.set_xlim(low, high)
    axes.set_ylim(-0.1, 1.25)
    axes.spines["bottom"].set(visible=True, color=FAINT)
    axes.set_xlabel(_("pH   (bar below the curve: 95 % interval)"), fontsize=9.5, color=PALE, labelpad=2)


def _zoom(grid: Array, height: Array) -> tuple[float, float]:
    """The part of the grid worth showing: all mass above a thousandth of the peak, at least 1 pH wide."""
    seen = grid[height > 1e-3]
    low, high = float(seen.min()), float(seen.max())
    half = max(0.6 * (high - low), 0.5)
    middle = (low + high) / 2
    return max(middle - half, float(grid.min())), min(middle + half, float(grid.max()))


def _pad_bars(axes: Axes, shown: PhPicture) -> None:
    """For each pad its colour, number and CIELAB, and the profile's colours over pH with the places that look alike."""
    assert shown.grid_ph is not None
    assert shown.pad_labs is not None
    assert shown.curve_labs is not None
    grid, count = shown.grid_ph, len(shown.pad_labs)
    low, high = float(grid.min()), float(grid.max())
    start = low - 0.42 * (high - low)  # the swatches stand left of the bars, in the same axes
    axes.set_xlim(start, high)
    axes.set_ylim(count, 0)
    wide = high - start
    for n, lab in enumerate(shown.pad_labs):
        colours = lab_to_display(shown.curve_labs[:, n])
        axes.imshow(colours[None], extent=(low, high, n + 0.72, n + 0.1), aspect="auto", interpolation="bilinear")
        alike = np.sqrt(((shown.curve_labs[:, n] - lab) ** 2).sum(axis=1)) < ALIKE_DELTA_E
        axes.fill_between(grid, n + 0.78, n + 0.86, where=alike.tolist(), color=INK, lw=0)
        axes.text(start, n + 0.41, str(n + 1), fontsize=12, weight="bold", color=INK, va="center")
        words = _("not measured")
        if np.isfinite(lab).all():
            swatch = [start + 0.035 * wide, start + 0.125 * wide]
            axes.fill_between(swatch, n + 0.1, n + 0.72, color=tuple(lab_to_display(lab)), lw=0)
            words = f"L {lab[0]:.0f}\na {lab[1]:+.0f} b {lab[2]:+.0f}".replace("-", "\u2212")
        axes.text(start + 0.14 * wide, n + 0.41, words, fontsize=8, color=PALE, va="center", linespacing=1.3)
    if shown.ph is not None:
        for n in range(count):
            axes.plot([shown.ph] * 2, [n + 0.04, n + 0.78], color="white", lw=4, solid_capstyle="butt")
            axes.plot([shown.ph] * 2, [n + 0.04, n + 0.78], color="black", lw=1.8, solid_capstyle="butt")
    axes.set_xticks([t for t in range(15) if low <= t <= high])
    axes.set_xlabel(
        _("pH   (line: the reading)") if shown.ph is not None else "pH", fontsize=9.5, color=PALE, labelpad=2
    )


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
        style: dict[str, Any] = {"color": _SHADES[n], "hatch": _HATCHES[n], "edgecolor": "white", "clip_on": False}
        axes.barh(0.0, share, left=start, height=1.0, **style)
        x, y = (n % 3) / 3, -1.35 - 1.0 * (n // 3)  # the legend, three to a line
        axes.barh(y, 0.028, left=x, height=0.6, **style)
        words = clip(_("{cause} {share:.0f} %", cause=say(name.replace("_", " ")), share=100 * share), 26)
        axes.text(x + 0.037, y, words, fontsize=9, color=INK, va="center", parse_math=False)
        start += share
    axes.set_xlim(0, 1)
    axes.set_ylim(-0.5, 0.5)
    axes.set_xticks([])
