"""A strip beside another of the same bottle in a liquid of known pH, in one photo: what both err alike by cancels.

Both strips' pads are jointly normal about the curve. They share, each by its own rule,

- the colour fit of the photo: the same parameters, whose errors are known for both
- a dye's own error and what photos miss the curve by
- the curve and the bottle; of the bottle's spread a part is each strip's own (``strip_own``)

each the more, the nearer their colours lie in CIELAB: far apart, the fit's errors of its own model count as well, and
taking over what is known of its parameters alone made readings worse.

Where the comparison's pH is known, its pads say what the errors are just now, and the sample is read with what that
tells of its own: the conditional of a joint normal. What is shared fades out with the distance in pH
(``SHARED_WITHIN``); far from the comparison nothing is, and the reading is what it was without. How alike two strips
err is fixed by their colours as seen and where they were read, not by the pH tried: colours that lie apart by chance
would else speak for pH that lie apart.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as fisher

from stripread.ph.difference import TOLERANCE, alikeness, difference_of, photos_share
from stripread.ph.joint_posterior import DISAGREE
from stripread.ph.observation import StripObservation, square_root
from stripread.ph.posterior import FINE, FREEDOM, PhEstimate, coarse_grid, posterior_of
from stripread.ph.verdicts import evident_interval
from stripread.reasons import Reason, because
from stripread.results import Comparison
from stripread.tuned import tuned
from stripread.words import _

if TYPE_CHECKING:
    from stripread.ph.buffers import Liquid
    from stripread.ph.profile import Profile
    from stripread.strip.pads import PadSet

Array = NDArray[np.float64]

_TUNED = tuned("stripread.ph")
STRIP_OWN = _TUNED.number("strip_own")
SHARED_WITHIN = _TUNED.pair("shared_within")
SLOPE_STEP = 0.05  # pH, to either side: the curve's slope there turns a buffer's doubt into one of colours


@dataclass(frozen=True)
class ReadStrip:
    """What the photo's stages made of one strip: its pads, its observation, and its estimate by itself."""

    pads: PadSet
    observation: StripObservation
    estimate: PhEstimate


@dataclass(frozen=True)
class Compared:
    """The sample's estimate with the comparison used where it may be, what to report of it, and what is doubted."""

    estimate: PhEstimate
    comparison: Comparison
    reasons: tuple[Reason, ...]


def compare(sample: ReadStrip, other: ReadStrip, fit_shared: Array, liquid: Liquid, profile: Profile) -> Compared:
    """Read a sample beside a comparison strip.

    Parameters
    ----------
    fit_shared
        Cross covariance (3P, 3P) of the two strips' errors from the photo's colour fit.
    liquid
        What the comparison was dipped in.
    """
    if liquid.ph is None:
        return _beside_water(sample, other, fit_shared, liquid, profile)
    low, high = profile.kind.range
    if not low <= liquid.ph <= high:
        reason = because("comparison_unread", _("pH {ph:.1f} lies beyond the strip's range", ph=liquid.ph))
        return Compared(sample.estimate, Comparison(liquid.name, liquid.ph), (reason,))
    known = _known_errors(other, liquid.ph, liquid.sd, profile)
    size = len(known.error)
    fits = not _elsewhere(sample.estimate, liquid)
    if fisher.sf(known.square / size, size, FREEDOM) < DISAGREE or _elsewhere(other.estimate, liquid):
        reading = _("pH {ph:.1f} and not {ph2:.1f}", ph=other.estimate.ph, ph2=liquid.ph)
        # A sample that has the liquid's own pH beside a comparison in another looks just like the two exchanged.
        codes = ("strips_exchanged", "comparison_off") if fits else ("comparison_off",)
        reasons = tuple(because(code, reading, value=other.estimate.ph, unit="pH") for code in codes)
        return Compared(sample.estimate, _report(sample.estimate, other.estimate.interval, liquid, profile), reasons)
    share = _share(sample.estimate, liquid.ph)
    estimate = _beside_known(sample, other, fit_shared, known, share, profile)
    span = (liquid.ph - 1.96 * liquid.sd, liquid.ph + 1.96 * liquid.sd)
    reasons = ()
    if fits:
        taken_for_it = _known_errors(sample, liquid.ph, liquid.sd, profile)
        turned = _beside_known(other, sample, fit_shared.T, taken_for_it, share, profile).ph
        if not estimate.interval[0] <= turned <= estimate.interval[1]:
            reasons = (because("exchange_unseen", f"pH {turned:.2f}", value=turned, unit="pH"),)
    return Compared(estimate, _report(estimate, span, liquid, profile), reasons)


def _share(estimate: PhEstimate, ph: float) -> float:
    """How much of what two strips err alike by is taken to be shared, 0 to 1, by how far from ``ph`` one was read."""
    near, far = SHARED_WITHIN
    apart = float(np.abs(estimate.grid - ph) @ estimate.density / estimate.density.sum())
    return float(np.clip((far - apart) / (far - near), 0.0, 1.0))


def _beside_known(  # noqa: PLR0917 - the two strips, and what is known of them
    strip: ReadStrip, other: ReadStrip, fit_shared: Array, known: _KnownErrors, share: float, profile: Profile
) -> PhEstimate:
    """A strip's estimate given the other's known errors; where nothing is shared, its own."""
    if share == 0.0:
        return strip.estimate
    alike = share * alikeness(strip.observation.lab, other.observation.lab)
    shared = share * photos_share(strip.observation, other.observation, profile, fit_shared)
    return _conditional(strip.pads, known, shared, alike, profile)


@dataclass(frozen=True)
class _KnownErrors:
    """What the comparison's pads are off by (3P,), its covariance, and roots of those of its lot and of the curve."""

    error: Array
    cov: Array
    lot_root: Array
    curve_root: Array

    @property
    def square(self) -> float:
        """How large the errors are: squared, in standard deviations."""
        return float(self.error @ np.linalg.solve(self.cov, self.error))


def _known_errors(other: ReadStrip, ph: float, sd: float, profile: Profile) -> _KnownErrors:
    """The comparison's errors at its known pH."""
    at = np.array([ph - SLOPE_STEP, ph, ph + SLOPE_STEP])
    curve = profile.curve(at).reshape(3, -1)
    slope = (curve[2] - curve[0]) / (2.0 * SLOPE_STEP)
    lot, unsure = profile.strip.strip_cov(at[1:2])[0], profile.curve_cov(at[1:2])[0]
    error = other.pads.lab.reshape(-1) - curve[1]
    cov = other.pads.cov + profile.strip.scatter_cov() + lot + unsure + sd**2 * np.outer(slope, slope)
    return _KnownErrors(error, cov, square_root(lot), square_root(unsure))


def _conditional(pads: PadSet, known: _KnownErrors, shared: Array, alike: float, profile: Profile) -> PhEstimate:
    """The sample's posterior, given the comparison's errors.

    Parameters
    ----------
    shared, alike
        Cross covariance (3P, 3P) of the two strips' errors, but for curve and lot; how alike those are, 0 to 1.
    """
    grid = coarse_grid(profile.kind.range)
    lot, unsure, scatter = profile.strip.strip_cov(grid), profile.curve_cov(grid), profile.strip.scatter_cov()
    of_bottle = (1.0 - STRIP_OWN) * _roots(lot) @ known.lot_root
    cross = shared + alike * (of_bottle + _roots(unsure) @ known.curve_root)
    gain = cross @ np.linalg.inv(known.cov)  # (N, 3P, 3P)
    told = -gain @ cross.transpose(0, 2, 1)
    mean = profile.curve(grid).reshape(len(grid), -1) + gain @ known.error
    stretch = max(1.0, known.square / len(known.error))  # errors larger than their doubts: those were too small
    causes = {**pads.parts, "strip_lot": lot + scatter, "calibration": unsure, "comparison": told}
    causes = {cause: stretch * cov for cause, cov in causes.items()}
    S = stretch * (pads.cov + scatter + lot + unsure + told)
    return posterior_of(profile.kind.range, mean, pads.lab.reshape(-1), S, causes)


def _beside_water(sample: ReadStrip, other: ReadStrip, fit_shared: Array, liquid: Liquid, profile: Profile) -> Compared:
    """The sample as it is by itself, and its difference from the water, whose pH is as unknown as its own."""
    found = difference_of(sample.observation, other.observation, profile, fit_shared=fit_shared)
    comparison = Comparison(
        liquid.name, None, other.estimate.interval, found.value, found.interval, 1.0 - found.differs, TOLERANCE
    )
    return Compared(sample.estimate, comparison, ())


def _report(estimate: PhEstimate, interval: tuple[float, float], liquid: Liquid, profile: Profile) -> Comparison:
    """How the sample stands to the liquid of known pH; the liquid's own doubt widens the difference.

    Nothing is said more surely than the evidence behind the profile allows for the pH itself.
    """
    assert liquid.ph is not None
    low, high = evident_interval(estimate, profile)
    reach = 1.96 * liquid.sd
    apart = (
        estimate.ph - float(np.hypot(estimate.ph - low, reach)) - liquid.ph,
        estimate.ph + float(np.hypot(high - estimate.ph, reach)) - liquid.ph,
    )
    mass = estimate.density / estimate.density.sum()
    wider = max(1.0, (high - low) / (estimate.interval[1] - estimate.interval[0]))
    at = estimate.ph + (estimate.grid - estimate.ph) * wider
    same = float(mass[np.abs(at - liquid.ph) <= TOLERANCE].sum())
    return Comparison(liquid.name, liquid.ph, interval, estimate.ph - liquid.ph, apart, same, TOLERANCE)


def _elsewhere(estimate: PhEstimate, liquid: Liquid) -> bool:
    """Whether the strip by itself rules its liquid's pH out."""
    assert liquid.ph is not None
    near = np.abs(estimate.grid - liquid.ph) <= max(1.96 * liquid.sd, FINE)
    tail = estimate.density[estimate.density <= max(float(estimate.density[near].max(initial=0.0)), 0.0)].sum()
    return float(tail / estimate.density.sum()) < DISAGREE


def _roots(covs: Array) -> Array:
    """Symmetric square roots of covariances (N, n, n)."""
    values, vectors = np.linalg.eigh(covs)
    return np.asarray((vectors * np.sqrt(np.maximum(values, 0.0))[:, None, :]) @ vectors.transpose(0, 2, 1))
