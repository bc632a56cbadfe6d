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
from calibration.known_pads import KnownPads, points
from calibration.pad_fit import Chemistry, fit_pad, one_pad
from calibration.phones.share import known_phones
from calibration.process import Observed, Posterior, find_sizes, observe
from calibration.spline import fit_spline
from stripread.kind import StripKind
from stripread.ph.curve import Lot, StripCurve, StripModel
from stripread.ph.phones.known import KnownPhone
from stripread.ph.posterior import infer_ph
from stripread.ph.quality import Quality
from stripread.strip.pads import PadSet
from stripread.tuned import tuned
from stripread.words import _

Array = NDArray[np.float64]
# Fits photos; the third argument is the fit to all photos, where this one leaves some out
Fit = Callable[[list[KnownPads], StripKind, Posterior | None], Posterior]

STEP, COV_STEP = 0.05, 0.25  # grids of the table and of its covariance
LOOKS = 29  # pH at which it is asked how much surer a known phone makes the curve: every half in 0 to 14
JUDGES = 0.075  # standard deviation in pH of a liquid that may judge: half of what the report calls a good mean error
BEYOND = 0.5  # pH that the table reaches beyond the kind's range
_TUNED = tuned("calibration")
MIN_POINTS = _TUNED.count("spline_min_points")


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

    def mean_error(self) -> float:
        """Mean absolute error of the inner points; NaN without any."""
        error = self.error()
        return float(np.abs(error).mean()) if len(error) else float("nan")

    def score(self) -> float:
        """Mean log density that the truth had; NaN without inner points."""
        return float(self.log_density[self.inner].mean()) if self.inner.any() else float("nan")


@dataclass(frozen=True)
class FittedCurve:
    """A curve ready for a profile: the table, the model's name, why it was taken, its parameters, how well it fits.

    residuals (n, P, 3): photo less curve. phones: those that took several of the photos, and how well they agree.
    """

    strip: StripCurve
    model: str
    why: str
    quality: Quality
    left_out: LeftOut
    residuals: Array  # (n, P, 3) photo less curve
    phones: tuple[KnownPhone, ...] = ()
    parameters: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class _CandidateModel(StripModel):
    """A curve on trial and its kind: what ``infer_ph`` asks for."""

    kind: StripKind
    strip: StripCurve


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
    best = judge(known, kind, _spline, lot=lot, model="spline")
    count = len(points(known))
    if count < MIN_POINTS:
        why = _(
            "{count} pH values are too few to fit the indicators' chemistry (wanted: {min_points})",
            count=count,
            min_points=MIN_POINTS,
        )
        return finish(best, known, kind, why)
    other = judge(known, kind, fit_chemistry, lot=lot, model="chemistry")
    why = _(
        "buffers left out are read to {mean_error:.2f} pH by the chemistry, to {mean_error2:.2f} by the spline",
        mean_error=other.left.mean_error(),
        mean_error2=best.left.mean_error(),
    )
    return finish(best if clearly_better(best.left, other.left) else other, known, kind, why)


def clearly_better(one: LeftOut, other: LeftOut) -> bool:
    """Whether ``one`` foretells the inner points better than ``other`` by more than a standard error of the difference.

    Both must have left out the same photos in the same order.
    """
    gain = (one.log_density - other.log_density)[one.inner]
    if len(gain) < 2:
        return False
    return bool(gain.mean() > gain.std(ddof=1) / np.sqrt(len(gain)))


@dataclass(frozen=True)
class Judged:
    """One way of fitting: its name, its posterior from all photos, and how it did on those left out."""

    model: str
    posterior: Posterior
    left: LeftOut
    lot: Lot


def judge(known: list[KnownPads], kind: StripKind, fit: Fit, *, lot: Lot, model: str, ends: bool = False) -> Judged:
    """Fit all photos, then judge the fit by leaving each buffer out."""
    posterior = fit(known, kind, None)
    return Judged(model, posterior, leave_one_out(known, kind, fit, whole=posterior, lot=lot, ends=ends), lot)


def finish(judged: Judged, known: list[KnownPads], kind: StripKind, why: str) -> FittedCurve:
    """Tabulate the posterior taken and sum up how well it fits."""
    posterior, left = judged.posterior, judged.left
    found = quality(known, left, posterior)
    strip = tabulate(posterior, kind, judged.lot, found.doubt_scale)
    seen = posterior.seen
    residuals = seen.lab.reshape(len(seen.ph), seen.pads, 3) - strip.curve(seen.ph)
    phones = known_phones(posterior, known, np.linspace(*kind.range, LOOKS))
    return FittedCurve(strip, judged.model, why, found, left, residuals, phones, _parameters(posterior))


def fit_chemistry(known: list[KnownPads], kind: StripKind, whole: Posterior | None = None) -> Posterior:
    """The chemistry fitted pad by pad, then its doubts from all pads together."""
    seen = observe(known)
    low, high = kind.range
    near = whole.mean.theta if whole is not None and isinstance(whole.mean, Chemistry) else (None,) * seen.pads
    fits = [fit_pad(one_pad(seen, p), low, high, near[p]) for p in range(seen.pads)]
    mean = Chemistry(tuple(theta for theta, _ in fits), tuple(prior for _, prior in fits))
    return Posterior(seen, mean, find_sizes(seen, mean) if whole is None else whole.sizes)


def _spline(known: list[KnownPads], _: StripKind, whole: Posterior | None = None) -> Posterior:
    return fit_spline(observe(known), None if whole is None else whole.sizes)


def tabulate(posterior: Posterior, kind: StripKind, lot: Lot, widen: float = 1.0) -> StripCurve:
    """The curve and its covariance, times ``widen``, on the grids of a profile."""
    low, high = kind.range[0] - BEYOND, kind.range[1] + BEYOND
    ph = np.round(np.arange(low, high + STEP / 2, STEP), 3)
    cov_ph = np.round(np.arange(low, high + COV_STEP / 2, COV_STEP), 3)
    cov = posterior.cov(cov_ph)
    cov = 0.5 * widen * (cov + cov.transpose(0, 2, 1)) + 1e-4 * np.eye(cov.shape[1])
    factor = np.asarray(np.linalg.cholesky(cov), dtype=np.float64)
    return StripCurve(ph, posterior.curve(ph), cov_ph, factor, posterior.sizes.scatter().widened(widen), lot)


def leave_one_out(
    known: list[KnownPads], kind: StripKind, fit: Fit, *, whole: Posterior, lot: Lot, ends: bool = False
) -> LeftOut:
    """Read each buffer's photos with the curve that the others give.

    ends: whether the lowest and highest buffer count too (a chart still covers them). A liquid whose own pH is in doubt
    can't judge: it is left out and read like the others, and counts as an end does.
    """
    values = points(known)
    sure = {k.ph for k in known if k.ph_sd <= JUDGES}
    rows: list[tuple[float, float, float, float, float, bool]] = []
    for value in values:
        rest = [k for k in known if k.ph != value]
        inner = (ends or values[0] < value < values[-1]) and value in sure
        if not rest:
            break
        reader = _CandidateModel(kind, tabulate(fit(rest, kind, whole), kind, lot))
        for k in known:
            if k.ph == value:
                e = infer_ph(PadSet(k.lab, k.cov, {"noise": k.cov}, np.zeros((len(k.lab), 4, 2)), ()), reader)
                density = float(np.interp(value, e.grid, e.density))
                rows.append((value, e.ph, *e.interval, float(np.log(max(density, 1e-9))), inner))
    table = np.array(rows, dtype=np.float64).reshape(-1, 6)
    return LeftOut(table[:, 0], table[:, 1], table[:, 2], table[:, 3], table[:, 4], table[:, 5] > 0.5)


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
    for _unused, error, cov in posterior.left_out():
        total += float(error @ np.linalg.solve(cov, error))
        count += len(error)
    return total / count if count else float("nan")


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
