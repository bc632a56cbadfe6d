"""Pictures of a tint and of a solid: where the liquid was read, how blue it is, and how sure that is."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.picture.frame import Headline, Outline, Panel, card_edge_px, compose, photo_of
from stripread.picture.parts import BLUE, FAINT, INK, PALE, SKY, VERMILION, draw_density, lab_to_display, png, wrap
from stripread.tint.verdicts import CAUTIONS
from stripread.words import _, say

if TYPE_CHECKING:
    from matplotlib.axes import Axes

    from stripread.card.find import CardTrace
    from stripread.reasons import Reason
    from stripread.solid.read import SolidTrace
    from stripread.tint.read import TintTrace
    from stripread.window.vials import Vial

Array = NDArray[np.float64]
Image = NDArray[np.uint8]

_CIRCLES = 2  # outlines drawn of each vessel: more would hide the liquid
_PANEL_WIDTH, _CAUTION_PT, _LINE_PX = 550, 9.0, 17.0
_TURN = np.linspace(0.0, 2 * np.pi, 49)


def tint_picture(trace: TintTrace) -> bytes:
    """PNG file of a tint; whatever it did not come to is left out."""
    reading = trace.reading
    assert reading is not None
    outlines = card_outline(trace.card)
    if trace.vials is not None:
        for name, vial in ((_("sample"), trace.vials.sample), (_("blank"), trace.vials.blank)):
            outlines += vial_outlines(trace.card, name, vial)
    panels = []
    if trace.estimate is not None:
        panels.append(Panel(_("How likely each absorbance is"), 170, lambda axes: _posterior(axes, trace), below=50))
    if trace.sample is not None:
        panels.append(Panel(_("Light left in each channel, sample over blank"), 110, lambda axes: ratios(axes, trace)))
    cautions = [reason for reason in reading.reasons if reason.code in CAUTIONS]
    panels.append(caution_panel(cautions))
    below = []
    if reading.mg_per_l is not None and reading.interval is not None and reading.detection_limit is not None:
        low, high = reading.interval
        below.append(
            _(
                "{mg_per_l:.1f} mg/L copper, 95 % interval {low:.1f} to {high:.1f}",
                mg_per_l=reading.mg_per_l,
                low=low,
                high=high,
            )
        )
        below.append(_("seen from {detection_limit:.1f} mg/L", detection_limit=reading.detection_limit))
    elif reading.absorbance is not None and reading.absorbance_interval is not None:
        low, high = reading.absorbance_interval
        below.append(
            _(
                "absorbance {absorbance:.4f}, 95 % interval {low:.4f} to {high:.4f}",
                absorbance=reading.absorbance,
                low=low,
                high=high,
            )
        )
    if reading.claim:
        below.append(reading.claim)
    big = _("no reading") if reading.absorbance is None else say(reading.decision)
    image = compose(
        photo_of(trace.card),
        outlines,
        Headline(reading.status, big, "", tuple(below)),
        [reason for reason in reading.reasons if reason.code not in CAUTIONS],
        panels,
        title=Path(reading.stamp.photo).name,
        caption=_(
            "tint · {software} · photo {sha256}", software=reading.stamp.software, sha256=reading.stamp.sha256[:12]
        ),
        words_px=250,  # what the test does not prove is long
    )
    return png(image)


def solid_picture(trace: SolidTrace) -> bytes:
    """PNG file of a solid."""
    reading = trace.reading
    assert reading is not None
    outlines = card_outline(trace.card)
    panels = []
    below: tuple[str, ...] = ()
    big = _("no reading")
    if trace.sample is not None and trace.card.view is not None and trace.card.pose is not None:
        rows, columns = np.nonzero(trace.sample.mask)
        y0, x0 = trace.sample.origin
        corners = np.array(
            [
                [columns.min() + x0, rows.min() + y0],
                [columns.max() + x0, rows.min() + y0],
                [columns.max() + x0, rows.max() + y0],
                [columns.min() + x0, rows.max() + y0],
            ],
            dtype=np.float64,
        )
        outlines.append(Outline(trace.card.pose.to_px(trace.card.view.view_to_mm(corners)), "window", "solid"))
    if trace.estimate is not None:
        panels.append(
            Panel(_("Pale share of each place (blue: none, yellow: all)"), 230, lambda axes: _map(axes, trace))
        )
        panels.append(Panel(_("Mean colour"), 50, lambda axes: _swatch(axes, trace)))
    if reading.pale_fraction is not None and reading.pale_interval is not None:
        low, high = reading.pale_interval
        big = _("{share:.1f} %", share=100 * reading.pale_fraction)
        below = (_("pale; 95 % interval {low:.1f} to {high:.1f} %", low=100 * low, high=100 * high),)
    image = compose(
        photo_of(trace.card),
        outlines,
        Headline(reading.status, big, "", below),
        reading.reasons,
        panels,
        title=Path(reading.stamp.photo).name,
        caption=_(
            "solid · {software} · photo {sha256}", software=reading.stamp.software, sha256=reading.stamp.sha256[:12]
        ),
    )
    return png(image)


def card_outline(card: CardTrace) -> list[Outline]:
    """The card's edge, where it was found."""
    edge = card_edge_px(card)
    return [] if edge is None else [Outline(edge, "card", _("card"))]


def vial_outlines(card: CardTrace, name: str, vial: Vial | None) -> list[Outline]:
    """The clearest circles, and the box of the liquid read."""
    if vial is None or card.pose is None or card.view is None:
        return []
    outlines = []
    for circle in vial.circles[:_CIRCLES]:
        points = np.array(circle.centre_mm) + circle.radius_mm * np.stack([np.cos(_TURN), np.sin(_TURN)], axis=1)
        outlines.append(Outline(card.pose.to_px(points), "window"))
    places = vial.places_mm(card.view)
    low, high = places.min(axis=0), places.max(axis=0)
    box = np.array([[low[0], low[1]], [high[0], low[1]], [high[0], high[1]], [low[0], high[1]]])
    outlines.append(Outline(card.pose.to_px(box), "pad", name))
    return outlines


def caution_panel(cautions: Sequence[Reason]) -> Panel:
    """The cautions in full: they have a place of their own, so that no other words can push them out."""
    lines: list[tuple[int, str]] = []
    for reason in cautions:
        lines += [(n, line) for n, line in enumerate(wrap(reason.message, _PANEL_WIDTH - 40, _CAUTION_PT))]

    def draw(axes: Axes) -> None:
        axes.set_axis_off()
        axes.set_xlim(0, _PANEL_WIDTH)
        axes.set_ylim(_LINE_PX * len(lines), 0)
        for n, (part, line) in enumerate(lines):
            if part == 0:
                axes.text(2, _LINE_PX * (n + 0.8), "!", fontsize=_CAUTION_PT, color=VERMILION, weight="bold")
            axes.text(18, _LINE_PX * (n + 0.8), line, fontsize=_CAUTION_PT, color=INK, parse_math=False)

    return Panel(_("Cautions, with every test"), round(_LINE_PX * len(lines)), draw)


def _posterior(axes: Axes, trace: TintTrace) -> None:
    """Posterior over absorbance with its interval hatched and the two limits marked."""
    estimate = trace.estimate
    assert estimate is not None
    grid, height = estimate.grid, estimate.density / max(float(estimate.density.max()), 1e-300)
    seen = grid[height > 1e-3]
    low = min(float(seen.min()), -0.5 * estimate.detection_limit)
    high = max(float(seen.max()), 1.5 * estimate.detection_limit)
    draw_density(axes, grid, height, estimate.interval)
    limits = ((estimate.decision_limit, "decision", 1.05), (estimate.detection_limit, "detection", 1.24))
    for limit, word, top in limits:
        axes.plot([limit, limit], [0, top], color=INK, lw=1.5, ls=":" if word == "decision" else "--")
        axes.text(
            limit,
            top,
            _("decision limit") if word == "decision" else _("detection limit"),
            fontsize=8.5,
            color=INK,
            ha="left",
            va="bottom",
        )
    axes.plot([0, 0], [0, 1.05], color=PALE, lw=1)
    axes.set_xlim(low, high)
    axes.set_ylim(0, 1.5)
    axes.spines["bottom"].set(visible=True, color=FAINT)
    axes.set_xlabel(_("absorbance, one passage (hatched: 95 % interval)"), fontsize=9.5, color=PALE, labelpad=2)


def ratios(axes: Axes, trace: TintTrace) -> None:
    """One bar a channel, named, with its doubt; 1 is the blank."""
    sample = trace.sample
    assert sample is not None
    sd = np.sqrt(np.diag(sample.cov))
    for n, (name, hatch) in enumerate((("red", ""), ("green", "///"), ("blue", "..."))):
        value = float(sample.ratio[n])
        axes.barh(-n, value, height=0.6, color=SKY, edgecolor=BLUE, hatch=hatch)
        axes.plot([value - 1.96 * sd[n], value + 1.96 * sd[n]], [-n, -n], color=INK, lw=2)
        axes.text(
            0.01, -n, _("{colour} {value:.3f}", colour=say(name), value=value), fontsize=9, color=INK, va="center"
        )
    axes.plot([1, 1], [-2.5, 0.5], color=INK, lw=1, ls="--")
    axes.set_xlim(0, max(1.15, float(sample.ratio.max()) * 1.05))
    axes.set_ylim(-2.5, 0.5)


def _map(axes: Axes, trace: SolidTrace) -> None:
    estimate, sample = trace.estimate, trace.sample
    assert estimate is not None
    assert sample is not None
    shown = np.where(sample.mask, np.clip(estimate.share, 0.0, 1.0), np.nan)
    axes.set_axis_off()
    axes.imshow(shown, cmap="cividis", vmin=0.0, vmax=1.0, interpolation="nearest")


def _swatch(axes: Axes, trace: SolidTrace) -> None:
    estimate = trace.estimate
    assert estimate is not None
    axes.set_axis_off()
    axes.set_xlim(0, 1)
    axes.set_ylim(0, 1)
    axes.fill_between([0, 0.2], 0, 1, color=tuple(lab_to_display(estimate.lab)), lw=0)
    parts = zip("Lab", estimate.lab, estimate.sd, strict=True)
    words = " ".join(f"{name} {value:.0f} ± {sd:.0f}" for name, value, sd in parts)
    axes.text(0.24, 0.5, words, fontsize=11, color=INK, va="center")
