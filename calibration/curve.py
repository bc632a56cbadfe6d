"""Fitting the curve: the chemistry where the points allow it, else the spline; both judged by points left out.

The judge is the reader itself: each buffer's photos are left out, the curve is fitted to the rest, and the photos left
out are read with it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calibration import chemistry
from calibration.known import KnownPads, points
from calibration.padfit import Chemistry, fit_pad, one_pad
from calibration.process import Observed, Posterior, find_sizes, observe
from calibration.spline import fit_spline
from stripread.kind import StripKind
from stripread.pads import PadSet
from stripread.ph import infer_ph
from stripread.profile import Quality
from stripread.stripcurve import Lot, StripCurve

Array = NDArray[np.float64]
Fit = Callable[[list[KnownPads], StripKind], Posterior]

STEP, COV_STEP = 0.05, 0.25  # grids of the table and of its covariance
BEYOND = 0.5  # pH that the table reaches beyond the kind's range
MIN_POINTS = 5  # fewer points than this say nothing of transitions


@dataclass(frozen=True)
class LeftOut:
    """Photos read with a curve fitted without their buffer; all (n,). inner: the pH lies between other points."""

    ph: Array
    read: Array
    low: Array
    high: Array
    log_density: Array
    inner: NDArray[np.bool_]

    def error(self) -> Array:
        """Reading less truth of the inner points (k,)."""
        return (self.read - self.ph)[self.inner]

    def score(self) -> float:
        """Mean log density that the truth had; NaN without inner points."""
        return float(self.log_density[self.inner].mean()) if self.inner.any() else float("nan")


@dataclass(frozen=True)
class FittedCurve:
    """A curve ready for a profile: the table, the model's name, why it was taken, its parameters, how well it fits."""

    strip: StripCurve
    model: str
    why: str
    quality: Quality
    left_out: LeftOut
    residuals: Array  # (n, P, 3) photo less curve
    parameters: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class _Reader:
    """A curve and its kind: what ``infer_ph`` asks for."""

    kind: StripKind
    strip: StripCurve

    def curve(self, ph: Array) -> Array:
        return self.strip.curve(ph)

    def curve_cov(self, ph: Array) -> Array:
        return self.strip.curve_cov(ph)

    def lot_cov(self, ph: Array) -> Array:
        return self.strip.strip_cov(ph) + self.strip.scatter_cov()


def fit_curve(known: list[KnownPads], kind: StripKind, lot: Lot | None = None) -> FittedCurve:
    """Fit the strip's curve to photos at known pH.

    Parameters
    ----------
    known
        One entry a photo, all of strips of ``kind``.
    kind
        The strip kind; its range bounds the table.
    lot
        How strips differ from lot to lot.
    """
    lot = lot or Lot()
    spline_left = leave_one_out(known, kind, _spline, lot)
    fit, left, model, why = _spline, spline_left, "spline", ""
    count = len(points(known))
    if count < MIN_POINTS:
        why = f"{count} pH values are too few to fit the indicators' chemistry (wanted: {MIN_POINTS})"
    else:
        left_chemistry = leave_one_out(known, kind, fit_chemistry, lot)
        better = left_chemistry.score() >= spline_left.score()
        what = (
            f"photos left out are read to {_mean(left_chemistry):.2f} pH by the chemistry, "
            f"to {_mean(spline_left):.2f} by the spline"
        )
        why = what
        if better:
            fit, left, model = fit_chemistry, left_chemistry, "chemistry"
    posterior = fit(known, kind)
    return finish(posterior, known, kind, lot, left, model, why)


def finish(
    posterior: Posterior, known: list[KnownPads], kind: StripKind, lot: Lot, left: LeftOut, model: str, why: str
) -> FittedCurve:
    """Tabulate a posterior and sum up how well it fits."""
    strip = tabulate(posterior, kind, lot)
    seen = posterior.seen
    residuals = (seen.lab - strip.curve(seen.ph).reshape(len(seen.ph), -1)).reshape(len(seen.ph), -1, 3)
    return FittedCurve(strip, model, why, quality(known, left, posterior), left, residuals, _parameters(posterior))


def fit_chemistry(known: list[KnownPads], kind: StripKind) -> Posterior:
    """The chemistry fitted pad by pad, then its doubts from all pads together."""
    seen = observe(known)
    low, high = kind.range
    fits = [fit_pad(one_pad(seen, p), low, high) for p in range(seen.pads)]
    mean = Chemistry(tuple(theta for theta, _ in fits), tuple(prior for _, prior in fits))
    return Posterior(seen, mean, find_sizes(seen, mean))


def _spline(known: list[KnownPads], _: StripKind) -> Posterior:
    return fit_spline(observe(known))


def tabulate(posterior: Posterior, kind: StripKind, lot: Lot) -> StripCurve:
    """The curve and its covariance on the grids of a profile."""
    low, high = kind.range[0] - BEYOND, kind.range[1] + BEYOND
    ph = np.round(np.arange(low, high + STEP / 2, STEP), 3)
    cov_ph = np.round(np.arange(low, high + COV_STEP / 2, COV_STEP), 3)
    cov = posterior.cov(cov_ph)
    cov = 0.5 * (cov + cov.transpose(0, 2, 1)) + 1e-4 * np.eye(cov.shape[1])
    return StripCurve(ph, posterior.curve(ph), cov_ph, np.linalg.cholesky(cov), posterior.sizes.scatter(), lot)


def leave_one_out(known: list[KnownPads], kind: StripKind, fit: Fit, lot: Lot) -> LeftOut:
    """Read each buffer's photos with the curve that the others give."""
    values = points(known)
    rows: list[tuple[float, float, float, float, float, bool]] = []
    for value in values:
        rest = [k for k in known if k.ph != value]
        if len(values) < 3:
            break
        reader = _Reader(kind, tabulate(fit(rest, kind), kind, lot))
        inner = values[0] < value < values[-1]
        for k in known:
            if k.ph == value:
                e = infer_ph(PadSet(k.lab, k.cov, {"noise": k.cov}, np.zeros((len(k.lab), 4, 2)), ()), reader)
                density = float(np.interp(value, e.grid, e.density))
                rows.append((value, e.ph, *e.interval, float(np.log(max(density, 1e-9))), inner))
    table = np.array(rows, dtype=np.float64).reshape(-1, 6)
    return LeftOut(*table[:, :5].T, table[:, 5] > 0.5)


def quality(known: list[KnownPads], left: LeftOut, posterior: Posterior) -> Quality:
    """Sum up the points left out."""
    error = left.error()
    nan = float("nan")
    if not len(error):
        return Quality(len(points(known)), len(known), chi_square=_chi_square(posterior.seen, posterior))
    low, high, ph = left.low[left.inner], left.high[left.inner], left.ph[left.inner]
    return Quality(
        len(points(known)),
        len(known),
        loo_rms=float(np.sqrt((error**2).mean())),
        loo_mean=float(np.abs(error).mean()),
        loo_worst=float(np.abs(error).max()),
        loo_coverage=float(((low <= ph) & (ph <= high)).mean()) if len(error) else nan,
        chi_square=_chi_square(posterior.seen, posterior),
    )


def _chi_square(seen: Observed, posterior: Posterior) -> float:
    """Mean square of the left-out errors in their own standard deviations (1 when the doubts are right)."""
    total, count = 0.0, 0
    for _, error, cov in posterior.left_out():
        total += float(error @ np.linalg.solve(cov, error))
        count += len(error)
    return total / max(1, count)


def _parameters(posterior: Posterior) -> dict[str, Any]:
    mean, sizes = posterior.mean, posterior.sizes
    out: dict[str, Any] = {
        "photo_scatter_common": round(sizes.common, 3),
        "photo_scatter_own": round(sizes.own, 3),
        "missed_by_the_model": round(sizes.missed, 3),
    }
    if isinstance(mean, Chemistry):
        out["pads"] = [
            {
                "pka": [round(float(v), 2) for v in chemistry.pkas(t)],
                "steepness": round(chemistry.steepness(t), 3),
                "k_over_s": [[round(float(v), 4) for v in row] for row in chemistry.levels(t)],
            }
            for t in mean.theta
        ]
    return out


def _mean(left: LeftOut) -> float:
    error = left.error()
    return float(np.abs(error).mean()) if len(error) else float("nan")
