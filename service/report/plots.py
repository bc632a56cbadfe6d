"""The report's pictures: pH against wash, tint and pale share, and where the silver went.

Drawn without pyplot and without dates, so that the same batch gives the same bytes. Colours of Okabe and Ito, which
colour-blind eyes tell apart; every colour has a word beside it.
"""

from __future__ import annotations

import io
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import PathPatch
from matplotlib.path import Path as Curve
from matplotlib.ticker import FuncFormatter, MaxNLocator, NullFormatter

from service.bench.chemistry.balance import Balance
from service.bench.chemistry.reagents import Span
from service.bench.readings import LoggedPh, LoggedSolid, LoggedTint
from service.report.batch_record import BatchRecord
from service.report.losses import like_losses
from stripread.words import _, _n, number, say

BLUE, ORANGE, GREEN, RED, GREY = "#0072B2", "#E69F00", "#009E73", "#D55E00", "#555555"
WIDE_IN, NARROW_IN = (6.85, 3.1), (3.6, 2.9)  # width and height; the wide one is as wide as the paper's text
PLAIN = FuncFormatter(lambda value, _place: number(value, "g"))
STYLE: dict[Any, Any] = {
    "text.parse_math": False,  # a dollar sign in somebody's name for a decant is a dollar sign
    "font.size": 10,  # points on paper, where a picture shrinks to 92 % at most
    "font.family": "sans-serif",
    "svg.fonttype": "none",
    "axes.spines.top": False,
    "axes.spines.right": False,
}


def render(draw: Any, item: Any, *, narrow: bool = False) -> bytes | None:  # noqa: ANN401 - a function of this module
    """``draw(figure, item)`` as SVG, for paper and desk or ``narrow`` for a hand; None if there is nothing to draw."""
    with mpl.rc_context({**STYLE, "svg.hashsalt": f"stripread {draw.__name__} {narrow}"}):
        figure = Figure(figsize=NARROW_IN if narrow else WIDE_IN, layout="constrained")
        if not draw(figure, item):
            return None
        out = io.BytesIO()
        figure.savefig(out, format="svg", metadata={"Date": None})
    return out.getvalue()


def panels(figure: Figure, count: int, shares: tuple[float, ...] | None = None) -> list[Axes]:
    """Axes beside each other, or below each other where the picture is narrow."""
    width, height = NARROW_IN
    if figure.get_figwidth() > width:
        return list(figure.subplots(1, count, width_ratios=shares, squeeze=False).ravel())
    figure.set_size_inches(width, height * count)
    return list(figure.subplots(count, 1, squeeze=False).ravel())


def ph_plot(figure: Figure, batch: BatchRecord) -> bool:
    """PH against wash with intervals, the neutral band and the forecast."""
    seen = [
        (r.wash, r.reading.ph, r.reading.interval)
        for r in batch.in_force
        if isinstance(r.reading, LoggedPh) and r.wash is not None and not r.blank and r.reading.ph is not None
    ]
    if not seen:
        return False
    axes = figure.add_subplot()
    axes.axhspan(*batch.band, color=GREEN, alpha=0.12, lw=0)
    for place, forecast in enumerate(batch.forecasts):
        curve = forecast.curve
        n = [point.wash for point in curve]
        axes.fill_between(n, [p.low for p in curve], [p.high for p in curve], color=ORANGE, alpha=0.3, lw=0,
                          label=None if place else _("expected, 90 %"))  # fmt: skip
        axes.plot(n, [p.ph for p in curve], color=ORANGE, ls="--", lw=1.2)
    x = np.asarray([wash for wash, _, _ in seen], float)
    y = np.asarray([ph for _, ph, _ in seen])
    span = np.asarray([interval for _, _, interval in seen])
    reach = np.clip(np.stack([y - span[:, 0], span[:, 1] - y]), 0.0, None)
    axes.errorbar(x, y, reach, fmt="o", color=BLUE, ms=4.5, capsize=3, lw=1.2, label=_("read, 95 %"))
    axes.legend(frameon=False, loc="best")
    low, high = min(0.0, span.min()), max(9.0, span.max() + 0.3)
    axes.set(xlabel=_("wash"), ylabel="pH", ylim=(low, high))
    _acid_and_lye(axes, (low, *batch.band, high))
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    return True


def _acid_and_lye(axes: Axes, ends: tuple[float, float, float, float]) -> None:
    """Words at the right edge, each beside its part of the pH axis: what the numbers mean."""
    low, neutral, lye, high = ends
    side = axes.secondary_yaxis("right")
    side.set_yticks([(low + neutral) / 2, (neutral + lye) / 2, (lye + high) / 2], [_("acid"), _("neutral"), _("lye")])
    side.tick_params(length=0)
    for limit in (neutral, lye):
        axes.axhline(limit, color=GREEN, lw=0.8)


def check_plot(figure: Figure, batch: BatchRecord) -> bool:
    """Copper tint (mg/L, with its limit) and pale share, each in the order of its readings."""
    found = [r.reading for r in batch.in_force]
    tints = [x for x in found if isinstance(x, LoggedTint) and not x.refused]
    solids = [x for x in found if isinstance(x, LoggedSolid) and x.pale_fraction is not None]
    axes = panels(figure, bool(tints) + bool(solids)) if tints or solids else []
    if tints:
        _tint_panel(axes[0], tints)
    if solids:
        _pale_panel(axes[-1], solids)
    return bool(axes)


def _pale_panel(axes: Axes, solids: list[LoggedSolid]) -> None:
    n = np.arange(1, len(solids) + 1)
    y = np.asarray([100.0 * (x.pale_fraction or 0.0) for x in solids])
    span = 100.0 * np.asarray([x.pale_interval for x in solids])
    reach = np.clip(np.stack([y - span[:, 0], span[:, 1] - y]), 0.0, None)
    axes.errorbar(n, y, reach, fmt="s", color=BLUE, ms=4.5, capsize=3)
    axes.set(xlabel=_("picture of the solid"), ylabel=_("still pale, %"), ylim=(0, None))
    axes.set_xticks(n)


def _tint_panel(axes: Axes, tints: list[LoggedTint]) -> None:
    n = np.arange(1, len(tints) + 1)
    for x, tint in zip(n, tints, strict=True):
        if tint.decision == "copper" and tint.mg_per_l is not None and tint.interval is not None:
            (low, high), value = tint.interval, tint.mg_per_l
            axes.errorbar(
                [x], [value], [[max(0.0, value - low)], [max(0.0, high - value)]], fmt="o", color=RED, capsize=3
            )
            axes.annotate(_("copper"), (x, value), textcoords="offset points", xytext=(5, 3))
        elif tint.decision == "none seen" and tint.detection_limit is not None:
            axes.plot([x], [tint.detection_limit], "v", color=GREEN)
            axes.annotate(_("below"), (x, tint.detection_limit), textcoords="offset points", xytext=(5, 3))
        else:
            text, foot = f"{say(tint.decision or 'undecided')},\n{_('no figure')}", axes.get_xaxis_transform()
            axes.annotate(text, (x, 0.02), xycoords=foot, ha="center", color=GREY)
    axes.set(xlabel=_("ammonia check"), ylabel=_("copper, mg/L"), yscale="log", xlim=(0.5, len(tints) + 0.9))
    axes.yaxis.set_major_formatter(PLAIN)
    axes.yaxis.set_minor_formatter(NullFormatter())
    axes.set_xticks(n)


def flow_plot(figure: Figure, found: Balance) -> bool:
    """Where the silver went: bands to scale on the left, the small ones again with their ranges on the right."""
    left, right = panels(figure, 2, (1.0, 1.25))
    losses = [(row.name, row.silver_g) for row in like_losses(found)]
    parts = [(name, span[1], ORANGE) for name, span in losses]
    if found.weighed_g is not None:
        parts.insert(0, (_("weighed"), found.weighed_g[1], BLUE))
        rest = found.expected_g[1] - found.weighed_g[1] - found.explained_g[1]
        if rest > 0:
            parts.append((_("unexplained"), rest, GREY))
    else:
        parts.insert(0, (_("still in the batch"), max(0.0, found.expected_g[1] - found.explained_g[1]), BLUE))
    total = max(found.expected_g[1], sum(p[1] for p in parts), 1e-9)
    small = [p for p in parts if p[1] < 0.004 * total]
    parts = [p for p in parts if p not in small]
    if small:
        name = _n("{n} small one", "{n} small ones", len(small)) if len(small) > 1 else small[0][0]
        parts.append((name, sum(p[1] for p in small), ORANGE))
    _flow(left, found, parts, total)
    _ranges(right, found, losses)
    return True


def _flow(axes: Axes, found: Balance, parts: list[tuple[str, float, str]], total: float) -> None:
    """Bands to scale from what was expected to where it went; labels kept apart."""
    top, end, label = total, total, total * 2.0
    for name, grams, colour in parts:
        _band(axes, (top, top - grams), (end, end - grams), colour)
        label = min(end - grams / 2, label - 0.17 * total)
        axes.text(1.06, label, f"{name}\n{number(grams, '.4g')} g", va="center")
        top, end = top - grams, end - grams - 0.05 * total
    axes.text(-0.05, total / 2, f"{_('expected')}\n{number(found.expected_g[1], '.4g')} g", ha="right", va="center")
    axes.set(xlim=(-0.55, 2.1), ylim=(min(end, label) - 0.08 * total, 1.03 * total))
    axes.axis("off")


def _band(axes: Axes, start: tuple[float, float], end: tuple[float, float], colour: str) -> None:
    points = [(0, start[0]), (0.5, start[0]), (0.5, end[0]), (1, end[0]), (1, end[1]), (0.5, end[1]), (0.5, start[1]),
              (0, start[1]), (0, start[0])]  # fmt: skip
    codes = [Curve.MOVETO, *[Curve.CURVE4] * 3, Curve.LINETO, *[Curve.CURVE4] * 3, Curve.CLOSEPOLY]
    axes.add_patch(PathPatch(Curve(points, codes), facecolor=colour, alpha=0.75, lw=0.4, edgecolor=colour))


def _ranges(axes: Axes, found: Balance, losses: list[tuple[str, Span]]) -> None:
    rows = [(name, span, ORANGE) for name, span in losses if span[2] > 0][:9]
    if found.shortfall_g is not None and found.shortfall_g[2] > 0:
        rows.append((_("missing in all"), found.shortfall_g, GREY))
    floor = 1e-4
    for place, (_name, (low, value, high), colour) in enumerate(rows):
        axes.plot(
            [max(low, floor), max(high, floor)], [place, place], color=colour, lw=4, alpha=0.4, solid_capstyle="butt"
        )
        axes.plot([max(value, floor)], [place], "o", color=colour, ms=4)
    axes.set_yticks(range(len(rows)), [name if len(name) < 34 else name[:32] + "…" for name, *_more in rows])
    axes.invert_yaxis()
    axes.set(xscale="log", xlabel=_("silver, g (value and range)"))
    axes.xaxis.set_major_formatter(PLAIN)
    axes.xaxis.set_minor_formatter(NullFormatter())
