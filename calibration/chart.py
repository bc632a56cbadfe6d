"""The maker's printed chart as a first curve, with wide doubts, and buffers that correct it.

A chart is printed for the eye: its inks only resemble the pads, and a wet pad is darker than a dry print. So the curve
is the chart's, moved by an unknown shift and stretch of each pad (features with a prior), plus what each field is off
by itself (a Gaussian process). Without photos the prior is the answer; photos at known pH pull it where they lie.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.known_pads import KnownPads
from calibration.process import PRIOR, Posterior, Sizes, find_sizes, observe
from calibration.spline import Spline
from calibration.tables import Swatch
from stripread.kind import StripKind
from stripread.tuned import tuned

Array = NDArray[np.float64]

_TUNED = tuned("calibration")
SHIFT_SD = np.array(_TUNED.numbers("chart_shift_sd"))
STRETCH_SD = _TUNED.number("chart_stretch_sd")
FIELD = _TUNED.number("chart_field_sd")
FIELD_LENGTH = _TUNED.number("chart_field_length")


@dataclass(frozen=True)
class ChartMean:
    """The chart's curve; shift (L, a, b), lightness stretch and chroma stretch of each pad are its parameters."""

    spline: Spline

    def lab(self, ph: Array) -> Array:
        """CIELAB (N, P, 3) at pH (N,)."""
        return self.spline.lab(ph)

    def features(self, ph: Array) -> list[Array]:
        """Per pad, slope by the scaled parameters (N, 3, 5)."""
        lab = self.spline.lab(ph)
        centre = self.spline.points.mean(axis=0)
        out = []
        for p in range(lab.shape[1]):
            f = np.zeros((len(ph), 3, 5))
            f[:, range(3), range(3)] = SHIFT_SD
            f[:, 0, 3] = STRETCH_SD * (lab[:, p, 0] - centre[p, 0])
            f[:, 1:, 4] = STRETCH_SD * lab[:, p, 1:]
            out.append(f)
        return out

    def offset(self) -> list[Array]:
        """The prior is centred on the chart itself."""
        return [np.zeros(5)] * self.spline.points.shape[1]

    def beyond(self, ph: Array) -> Array:
        """Distance in pH (N,) from the chart's range."""
        return self.spline.beyond(ph)


def chart_mean(swatches: list[Swatch], pads: int) -> ChartMean:
    """The curve of a chart; fields given twice are averaged. Every pH must have all pads."""
    ph = np.array(sorted({s.ph for s in swatches}))
    lab = np.array(
        [[np.mean([s.lab for s in swatches if s.ph == x and s.pad == p], axis=0) for p in range(pads)] for x in ph]
    )
    return ChartMean(Spline(ph, lab))


def fit_chart(known: list[KnownPads], mean: ChartMean, whole: Posterior | None = None) -> Posterior:
    """The chart's curve, pulled by the photos (which may be none)."""
    pads = mean.spline.points.shape[1]
    seen = observe(known, pads)
    if whole is not None:
        sizes = whole.sizes
    elif known:
        sizes = find_sizes(seen, mean, FIELD, FIELD_LENGTH)
    else:
        sizes = Sizes(PRIOR["common"][0], PRIOR["own"][0], FIELD, FIELD_LENGTH)
    return Posterior(seen, mean, sizes)


def covers(known: list[KnownPads], kind: StripKind, slack: float = 1.5) -> bool:
    """Whether the photos reach to within ``slack`` pH of both ends of the kind's range."""
    ph = [k.ph for k in known]
    return min(ph) <= kind.range[0] + slack and max(ph) >= kind.range[1] - slack
