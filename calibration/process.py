"""A curve with honest doubts: a model linearised at its best fit, plus a Gaussian process for what the model misses.

The photos are y = m(pH) + Phi(pH) u + g(pH) + e. m is the model at its best parameters, Phi its slope by them (scaled
so that u is standard normal under the prior), g a Gaussian process per pad and channel: smooth, zero on average, of the
size that the data ask for. e is what one photo adds: its own covariance, the scatter between photos (shared by the
pads, and each pad's own), and the buffer's error in pH, shared by all photos of one buffer. All is normal, so the
curve's posterior, its covariance and the leave-one-out predictions are in closed form (Rasmussen and Williams 2006,
ch. 2 and 5).
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve, solve_triangular
from scipy.optimize import minimize

from calibration.known_pads import KnownPads, pad_count
from stripread.gauss import gaussian_between
from stripread.ph.curve import Scatter
from stripread.tuned import tuned

Array = NDArray[np.float64]

_TUNED = tuned("calibration")
CHANNELS: Array = np.array(_TUNED.numbers("process_channels"))
STEEP = _TUNED.number("process_steep")
BEYOND_RATE = _TUNED.number("beyond_rate")
MISSED_LENGTH = _TUNED.number("missed_length")
# Priors of the logarithms of the three sizes (Lab): centre and standard deviation
PRIOR = {name: _TUNED.pair(f"scatter_{name}") for name in ("common", "own", "missed")}


class Mean(Protocol):
    """A model of the pads' colours: value, slope by its scaled parameters, and where their prior lies."""

    def lab(self, ph: Array) -> Array:
        """CIELAB (N, P, 3) at pH (N,)."""

    def features(self, ph: Array) -> list[Array]:
        """Per pad, slope by the scaled parameters (N, 3, K)."""

    def offset(self) -> list[Array]:
        """Per pad, the prior's mean of the scaled parameters, seen from the best fit (K,)."""

    def beyond(self, ph: Array) -> Array:
        """How far pH (N,) lies beyond what the model has seen: (N,), 0 inside or where the model knows better."""


@dataclass(frozen=True)
class Sizes:
    """Sizes in Lab units: photo scatter common to the pads, each pad's own, and what the model misses.

    length: over how many pH what the model misses stays alike. warp: pH by which a transition may come earlier or later
    than the model has it; it moves colours along the curve only.
    """

    common: float
    own: float
    missed: float
    length: float = MISSED_LENGTH
    warp: float = 0.0

    def scatter(self) -> Scatter:
        """As the profile holds it."""
        c, o = CHANNELS * self.common, CHANNELS * self.own
        return Scatter((float(c[0]), float(c[1]), float(c[2])), (float(o[0]), float(o[1]), float(o[2])))


@dataclass(frozen=True)
class Observed:
    """Photos stacked: pH (n,), colours (n, 3P) and covariances (n, 3P, 3P), sd of each pH (n,), group of each (n,)."""

    ph: Array
    lab: Array
    cov: Array
    ph_sd: Array
    group: NDArray[np.int64]
    pads: int


def observe(known: list[KnownPads], pads: int | None = None) -> Observed:
    """Stack photos; photos of one pH form a group. ``pads`` is needed only where there are no photos."""
    if not known:
        d = 3 * (pads or 0)
        empty = np.zeros(0)
        return Observed(empty, np.zeros((0, d)), np.zeros((0, d, d)), empty, np.zeros(0, dtype=np.int64), pads or 0)
    ph = np.array([k.ph for k in known])
    return Observed(
        ph,
        np.array([k.lab.reshape(-1) for k in known]),
        np.array([k.cov for k in known]),
        np.array([k.ph_sd for k in known]),
        np.unique(ph, return_inverse=True)[1].astype(np.int64),
        pad_count(known),
    )


def ph_slope(mean: Mean, ph: Array, step: float = 0.05) -> Array:
    """Derivative of the model by pH at (N,): (N, P, 3)."""
    return np.asarray((mean.lab(ph + step) - mean.lab(ph - step)) / (2 * step))


@dataclass(frozen=True)
class Places:
    """A model looked at once at pH (N,): all that covariances there need of it, whatever the sizes.

    steep (N, P, 3): slope by pH over a few tenths. beyond (N,): how far beyond what the model has seen. features: a pad
    (N, 3, K).
    """

    ph: Array
    steep: Array
    beyond: Array
    features: list[Array]


def places(mean: Mean, ph: Array) -> Places:
    """Look at the model at pH (N,)."""
    return Places(ph, ph_slope(mean, ph, 0.2), mean.beyond(ph), mean.features(ph))


def _gain(at: Places, missed: float, steep: float) -> Array:
    """Size of what is missed at N places: (N, P). Larger where the curve is steep."""
    slope = np.sqrt((at.steep**2).sum(axis=2) / 3.0)
    inside = missed * np.sqrt(0.25 + (steep * slope) ** 2 / (1.0 + (0.1 * slope) ** 2))
    return np.asarray(np.hypot(inside, BEYOND_RATE * at.beyond[:, None]))


def noise_blocks(seen: Observed, slope: Array, sizes: Sizes) -> Array:
    """Covariance of what photos add, over all photos and pads: (n 3P, n 3P). slope (n, P, 3): the curve's, by pH."""
    n, d = seen.lab.shape
    per_photo = seen.cov + sizes.scatter().cov(seen.pads)
    whole = np.zeros((n, d, n, d))
    whole[np.arange(n), :, np.arange(n), :] = per_photo
    by_ph = slope.reshape(n, d) * seen.ph_sd[:, None]
    for g in range(int(seen.group.max()) + 1):
        alike = np.flatnonzero(seen.group == g)
        whole[alike[:, None], :, alike, :] += np.einsum("ia,jb->ijab", by_ph[alike], by_ph[alike])
    return whole.reshape(n * d, n * d)


def signal_blocks(one: Places, other: Places, sizes: Sizes) -> Array:
    """Prior covariance of the curve between places (N,) and others (M,): (N 3P, M 3P). Pads are independent."""
    near = gaussian_between(one.ph, other.ph, sizes.length)
    steep = 0.0 if sizes.warp else STEEP  # with a warp, steepness has its own term
    left, right = _gain(one, sizes.missed, steep), _gain(other, sizes.missed, steep)
    pads = len(one.features)
    whole = np.zeros((len(one.ph), pads, 3, len(other.ph), pads, 3))
    for p in range(pads):
        part = np.tensordot(one.features[p], other.features[p], (2, 2))  # (N, 3, M, 3)
        missed = left[:, p, None] * near * right[:, p]
        for c in range(3):
            part[:, c, :, c] += missed * CHANNELS[c] ** 2
        if sizes.warp:
            moved = one.steep[:, p, :, None, None] * other.steep[None, None, :, p]
            part += sizes.warp**2 * near[:, None, :, None] * moved
        whole[:, p, :, :, p, :] = part
    return whole.reshape(len(one.ph) * pads * 3, -1)


def own_blocks(at: Places, sizes: Sizes) -> Array:
    """Prior covariance of the curve at each of N places by itself: (N, 3P, 3P)."""
    size = 3 * len(at.features)
    out = np.empty((len(at.ph), size, size))
    for i in range(len(at.ph)):
        here = Places(at.ph[i : i + 1], at.steep[i : i + 1], at.beyond[i : i + 1], [f[i : i + 1] for f in at.features])
        out[i] = signal_blocks(here, here, sizes)
    return out


class Posterior:
    """The curve given the photos, for one set of sizes."""

    def __init__(self, seen: Observed, mean: Mean, sizes: Sizes) -> None:
        self.seen, self.mean, self.sizes = seen, mean, sizes
        self._factor: tuple[Array, bool] | None = None
        if len(seen.ph):  # with no photos at all the prior is the answer
            self._at = places(mean, seen.ph)
            self._slope = ph_slope(mean, seen.ph)
            self._miss = (seen.lab - self._prior_mean(seen.ph)).reshape(-1)
            self._solve()

    def _solve(self) -> None:
        K = signal_blocks(self._at, self._at, self.sizes) + noise_blocks(self.seen, self._slope, self.sizes)
        K[np.diag_indices(len(K))] += 1e-6
        self._factor = cho_factor(K, lower=True, overwrite_a=True, check_finite=False)
        self._weights = cho_solve(self._factor, self._miss, check_finite=False)

    def resized(self, sizes: Sizes) -> Posterior:
        """The same photos and model with other sizes; there must be photos. The model is not looked at again."""
        other = copy(self)
        other.sizes = sizes
        other._solve()
        return other

    def _prior_mean(self, ph: Array) -> Array:
        """Prior mean of the linearised curve: (N, 3P)."""
        lab = self.mean.lab(ph)
        shift = [f @ o for f, o in zip(self.mean.features(ph), self.mean.offset(), strict=True)]
        return np.asarray((lab + np.stack(shift, axis=1)).reshape(len(ph), -1))

    def log_evidence(self) -> float:
        """Logarithm of the marginal likelihood, up to a constant."""
        assert self._factor is not None
        log_det = 2.0 * np.log(np.diag(self._factor[0])).sum()
        return float(-0.5 * self._miss @ self._weights - 0.5 * log_det)

    def curve(self, ph: Array) -> Array:
        """Posterior mean (N, P, 3)."""
        if self._factor is None:
            return self._prior_mean(ph).reshape(len(ph), -1, 3)
        K = signal_blocks(places(self.mean, ph), self._at, self.sizes)
        return np.asarray((self._prior_mean(ph) + (K @ self._weights).reshape(len(ph), -1)).reshape(len(ph), -1, 3))

    def cov(self, ph: Array) -> Array:
        """Posterior covariance at each pH (N, 3P, 3P)."""
        at = places(self.mean, ph)
        own = own_blocks(at, self.sizes)
        if self._factor is None:
            return own
        K = signal_blocks(at, self._at, self.sizes)
        told = solve_triangular(self._factor[0], K.T, lower=True, overwrite_b=True, check_finite=False).T
        by_place = told.reshape(*own.shape[:2], -1)
        return np.asarray(own - by_place @ by_place.transpose(0, 2, 1))

    def left_out(self) -> list[tuple[NDArray[np.int64], Array, Array]]:
        """For each group of photos: their numbers, error (k 3P,) of the prediction without them, its covariance."""
        if self._factor is None:
            return []
        d = self.seen.lab.shape[1]
        inverse = cho_solve(self._factor, np.eye(len(self._miss)))
        out = []
        for g in range(int(self.seen.group.max()) + 1):
            numbers = np.flatnonzero(self.seen.group == g)
            rows = (numbers[:, None] * d + np.arange(d)).ravel()
            cov = np.linalg.inv(inverse[np.ix_(rows, rows)])
            out.append((numbers, cov @ self._weights[rows], cov))
        return out

    def log_left_out(self) -> float:
        """Sum over groups of the log density that the others give them, up to a constant."""
        total = 0.0
        for _, error, cov in self.left_out():
            _, log_det = np.linalg.slogdet(cov)
            total += -0.5 * float(error @ np.linalg.solve(cov, error)) - 0.5 * float(log_det)
        return total


def find_sizes(seen: Observed, mean: Mean, missed: float = PRIOR["missed"][0], length: float = MISSED_LENGTH) -> Sizes:
    """Sizes of scatter and miss that make the photos most likely, drawn to their priors.

    missed: centre of the prior of what the model misses; length: over how many pH it stays alike.
    """
    centre = np.log([PRIOR["common"][0], PRIOR["own"][0], missed])
    sd = np.array([PRIOR[k][1] for k in ("common", "own", "missed")])

    def sizes_at(x: Array) -> Sizes:
        return Sizes(float(np.exp(x[0])), float(np.exp(x[1])), float(np.exp(x[2])), length)

    trial = Posterior(seen, mean, sizes_at(centre))

    def cost(x: Array) -> float:
        return -trial.resized(sizes_at(x)).log_evidence() + 0.5 * float((((x - centre) / sd) ** 2).sum())

    found = minimize(cost, centre, method="L-BFGS-B", bounds=[(-3.0, 2.0)] * 3, options={"maxiter": 25})
    return sizes_at(found.x)
