"""The picture of a comparison: pH by wash on the left, silver lost by step on the right.

Each batch has its own sign and dashes beside its colour (of Okabe and Ito), so that nothing rests on colour alone.
"""

from __future__ import annotations

import io

import matplotlib as mpl
import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.ticker import FuncFormatter, MaxNLocator, NullFormatter

from service.report.comparison import BatchFigures, Comparison
from service.report.plots import STYLE
from stripread.words import _, number
from stripread.words.retold import retold

FORMS = ("png", "svg", "pdf")
_COLOURS = ("#0072B2", "#D55E00", "#009E73", "#CC79A7", "#000000", "#E69F00", "#56B4E9", "#666666")
_SIGNS = "os^DvPX*"
_DASHES = ("-", "--", "-.", ":", "-", "--", "-.", ":")
_FLOOR_G = 1e-4


def comparison_picture(comparison: Comparison, form: str) -> bytes:
    """The picture as a file of ``form``, one of FORMS; a panel with nothing to show says so."""
    with mpl.rc_context(STYLE):
        figure = Figure(figsize=(10.5, 4.6), layout="constrained")
        left, right = figure.subplots(1, 2, width_ratios=(1.0, 1.25))
        _ph(left, comparison)
        _losses(right, comparison)
        handles, labels = left.get_legend_handles_labels()
        figure.legend(handles, labels, loc="outside lower center", ncols=2, frameon=False)
        out = io.BytesIO()
        empty = {"png": {"Software": None}, "svg": {"Date": None}, "pdf": {"CreationDate": None}}[form]
        figure.savefig(out, format=form, dpi=150, metadata=empty)
    return out.getvalue()


def _label(batch: BatchFigures) -> str:
    return f"{batch.number} {batch.name if len(batch.name) < 34 else batch.name[:32] + '…'}"


def _ph(axes: Axes, comparison: Comparison) -> None:
    for n, batch in enumerate(comparison.batches):
        sign, colour, dashes = _SIGNS[n], _COLOURS[n], _DASHES[n]
        axes.plot([], [], color=colour, marker=sign, ls=dashes, label=_label(batch))
        for part in sorted({p.part for p in batch.points}):
            points = [p for p in batch.points if p.part == part]
            x = np.array([p.wash for p in points]) + 0.06 * n  # beside each other, not over each other
            y = np.array([p.ph for p in points])
            reach = np.clip([y - [p.low for p in points], [p.high for p in points] - y], 0.0, None)
            axes.errorbar(x, y, reach, color=colour, marker=sign, ls=dashes, ms=5, capsize=2, lw=1.2)
    axes.set(xlabel=_("wash"), ylabel=_("pH, 95 % intervals"), ylim=(0, 14))
    axes.xaxis.set_major_locator(MaxNLocator(integer=True))
    if not any(batch.points for batch in comparison.batches):
        axes.text(0.5, 0.5, _("no pH of a wash was read"), ha="center", transform=axes.transAxes)


def _losses(axes: Axes, comparison: Comparison) -> None:
    steps = comparison.steps[:10]
    count = len(comparison.batches)
    for n, batch in enumerate(comparison.batches):
        lost = dict(batch.losses_g)
        for row, step in enumerate(steps):
            if step not in lost:
                continue
            low, value, high = (max(grams, _FLOOR_G) for grams in lost[step])
            y = row + (n - (count - 1) / 2) * 0.7 / count
            axes.plot([low, high], [y, y], color=_COLOURS[n], lw=2.5, alpha=0.5)
            axes.plot([value], [y], _SIGNS[n], color=_COLOURS[n], ms=5)
    axes.set_yticks(range(len(steps)), [s if len(s) < 36 else s[:34] + "…" for s in map(retold, steps)])
    axes.set(xlabel=_("silver lost, g (value and range)"))
    if steps:
        axes.set_ylim(len(steps) - 0.5, -0.5)
        axes.set_xscale("log")
        axes.xaxis.set_major_formatter(FuncFormatter(lambda value, _place: number(value, "g")))
        axes.xaxis.set_minor_formatter(NullFormatter())
    else:
        axes.text(0.5, 0.5, _("nothing was weighed yet"), ha="center", transform=axes.transAxes)
