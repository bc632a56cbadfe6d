"""The difference in pH of two strips read together, so that what they err alike by cancels.

Their pads are jointly normal. The calibrated curve and the lot err alike at one pH and less so the farther the two lie
apart; of a dye's own error the calibrating phone's half is shared where the colours are alike. Two photos' colour fits
are taken as independent; two strips in one photo have one fit, whose errors are known for both.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.gauss import gaussian
from stripread.ph.curve import Scatter
from stripread.ph.joint_posterior import CALIBRATING_PHONE, infer_joint
from stripread.ph.observation import StripObservation, square_root
from stripread.ph.posterior import FREEDOM, PhEstimate
from stripread.ph.verdicts import UNPROVEN_HALF_WIDTH
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.ph.profile import Profile

Array = NDArray[np.float64]

_TUNED = tuned("stripread.ph")
TOLERANCE = _TUNED.number("blank_tolerance")
ALIKE_PH = _TUNED.number("alike_ph")
ALIKE_LAB = _TUNED.number("alike_lab")
POINTS = 50  # of each pH: the grid covers all that is worth it
TAIL = 1e-4  # of the density's peak


@dataclass(frozen=True)
class Difference:
    """Wash minus blank in pH, its 95 % interval, and the probabilities that it is below and above the tolerance."""

    value: float
    interval: tuple[float, float]
    more_acid: float
    more_alkaline: float

    @property
    def differs(self) -> float:
        """Probability that wash and blank differ by more than the tolerance."""
        return self.more_acid + self.more_alkaline


def difference_of(
    wash: StripObservation,
    blank: StripObservation,
    profile: Profile,
    tolerance: float = TOLERANCE,
    *,
    fit_shared: Array | None = None,
) -> Difference:
    """Posterior of the difference in pH, wash minus blank, both flat over the strip's range before.

    fit_shared: of two strips in one photo, what their colour fit shares, (3P, 3P) by
    ``observation.fit_errors_shared``.
    """
    alone = [infer_joint([observation], profile, same_strip=True).estimate for observation in (wash, blank)]
    one, other = (_support(estimate) for estimate in alone)
    near = _near(*alone)
    own = [
        observation.cov(("noise", "texture", "fit", "foreign")) + profile.strip.scatter_cov()
        for observation in (wash, blank)
    ]
    cross = photos_share(wash, blank, profile, fit_shared)
    curves = [profile.curve(at).reshape(len(at), -1) for at in (one, other)]
    shared = [[_roots(cov(at)) for at in (one, other)] for cov in (profile.curve_cov, profile.strip.strip_cov)]
    size = cross.shape[0]
    misfit, log_det = np.zeros((len(one), len(other))), np.zeros((len(one), len(other)))
    for i in range(len(one)):
        S = np.zeros((len(other), 2 * size, 2 * size))
        S[:, :size, :size], S[:, size:, size:] = own[0], own[1]
        S[:, :size, size:] = cross
        for first, second in shared:
            S[:, :size, :size] += first[i] @ first[i]
            S[:, size:, size:] += second @ second
            S[:, :size, size:] += near * (first[i] @ second)
        S[:, size:, :size] = S[:, :size, size:].transpose(0, 2, 1)
        miss = np.broadcast_to(wash.lab.reshape(-1) - curves[0][i], (len(other), size))
        miss = np.concatenate([miss, blank.lab.reshape(-1) - curves[1]], axis=1)
        misfit[i] = (miss * np.linalg.solve(S, miss[:, :, None])[:, :, 0]).sum(axis=1)
        log_det[i] = np.linalg.slogdet(S)[1]
    stretch = max(1.0, float(misfit.min()) / (2 * size - 2))  # colours off the curve: their doubts were too small
    depth = misfit / stretch + log_det
    # As wide as the covariances say at the peak, Student's tails beyond: agreement must not narrow what is shared.
    mass = (1.0 + (depth - depth.min()) / FREEDOM) ** (-0.5 * (FREEDOM + 2))
    apart = (one[:, None] - other[None, :]).ravel()
    return _summary(apart, mass.ravel() / mass.sum(), profile, tolerance)


def _near(one: PhEstimate, other: PhEstimate) -> float:
    """How alike curve and lot err at the two pH, 0 to 1: fixed by where the two were read and how sure that is.

    It must not change over the grid: colours that differ by chance would then speak for pH that lie apart.
    """
    square = (one.ph - other.ph) ** 2 + sum(one.budget.values()) + sum(other.budget.values())
    return float(gaussian(np.sqrt(square), ALIKE_PH))


def _support(estimate: PhEstimate) -> Array:
    """The pH worth looking at: an even grid."""
    at = estimate.grid[estimate.density > TAIL * estimate.density.max()]
    return np.linspace(at[0], at[-1], POINTS)


def alikeness(one: Array, other: Array) -> float:
    """How alike dyes of two strips err, 0 to 1, by how far apart their pads (P, 3) lie in CIELAB."""
    return float(gaussian(float(np.linalg.norm(one - other, axis=1).max()), ALIKE_LAB))


def photos_share(
    wash: StripObservation, blank: StripObservation, profile: Profile, fit_shared: Array | None = None
) -> Array:
    """Cross covariance (3P, 3P) of the two strips' own errors, but for curve and lot."""
    alike = alikeness(wash.lab, blank.lab)
    one_photo = wash.sha256 == blank.sha256
    foreign = alike * (1.0 if one_photo else CALIBRATING_PHONE)
    cross = foreign * wash.roots["foreign"] @ blank.roots["foreign"].T
    if one_photo:
        common = Scatter(profile.strip.scatter.common, (0.0, 0.0, 0.0)).cov(len(wash.lab))
        fit = wash.roots["fit"] @ blank.roots["fit"].T if fit_shared is None else fit_shared
        cross = cross + alike * (fit + common)
    return np.asarray(cross)


def _roots(covs: Array) -> Array:
    return np.array([square_root(cov) for cov in covs])


def _summary(apart: Array, mass: Array, profile: Profile, tolerance: float) -> Difference:
    """Summary of a weighted set of differences (M,); as wide as the trade's practice if the profile proves nothing."""
    order = np.argsort(apart)
    apart, mass = apart[order], mass[order]
    mean = float(mass @ apart)
    sd = float(np.sqrt(mass @ (apart - mean) ** 2))
    least = UNPROVEN_HALF_WIDTH / 1.96
    if not profile.has_evidence and sd < least:
        apart = mean + (apart - mean) * least / max(sd, 1e-6)
    passed = np.cumsum(mass) - 0.5 * mass
    low, middle, high = (float(v) for v in np.interp([0.025, 0.5, 0.975], passed, apart))
    acid, alkaline = float(mass[apart < -tolerance].sum()), float(mass[apart > tolerance].sum())
    return Difference(middle, (low, high), acid, alkaline)
