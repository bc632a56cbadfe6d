"""The picture of an archive that was read again: each pH made anew against the log's, and how far apart they are."""

from __future__ import annotations

import numpy as np
from matplotlib.figure import Figure

from service.report.archive_report import ArchiveReport
from service.report.plots import PLAIN, panels
from stripread.words import _

_BLUE, _RED = "#0072B2", "#D55E00"  # of Okabe and Ito
_MOST = 5000  # points that are drawn: more are one blot


def archive_plot(figure: Figure, report: ArchiveReport) -> bool:
    """Draw it; False where there is no pH to compare."""
    if not report.pairs:
        return False
    pairs = np.asarray(report.pairs)  # (N, 2), pH
    left, right = panels(figure, 2)
    some = pairs[:: max(1, len(pairs) // _MOST)]
    low, high = float(pairs.min()) - 0.3, float(pairs.max()) + 0.3
    left.plot([low, high], [low, high], color="#666666", lw=0.8)
    left.plot(some[:, 0], some[:, 1], ".", color=_BLUE, ms=4, alpha=0.5)
    left.set(xlabel=_("pH in the log"), ylabel=_("pH made anew"), xlim=(low, high), ylim=(low, high))
    apart = pairs[:, 1] - pairs[:, 0]
    reach = max(0.1, float(np.abs(apart).max()))
    right.hist(apart, bins=[float(edge) for edge in np.linspace(-reach, reach, 42)], color=_BLUE)
    right.axvline(float(np.median(apart)), color=_RED, ls="--", label=_("median"))
    right.set(xlabel=_("pH, anew less in the log"), ylabel=_("readings"), yscale="symlog")
    right.yaxis.set_major_formatter(PLAIN)
    right.legend(frameon=False)
    return True
