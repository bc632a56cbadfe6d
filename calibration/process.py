"""A curve with honest doubts: a model linearised at its best fit, plus a Gaussian process for what the model misses.

The photos are y = m(pH) + Phi(pH) u + g(pH) + e. m is the model at its best parameters, Phi its slope by them (scaled
so that u is standard normal under the prior), g a Gaussian process per pad and channel: smooth, zero on average, of the
size that the data ask for. e is what one photo adds: its own covariance, the scatter between photos (shared by the
pads, and each pad's own), and the buffer's error in pH, shared by all photos of one buffer. All is normal, so the
curve's posterior, its covariance and the leave-one-out predictions are in closed form (Rasmussen and Williams 2006,
ch. 2 and 5).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Protocol

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import cho_factor, cho_solve
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


def missed_kernel(mean: Mean, one: Array, other: Array, sizes: Sizes) -> Array:
    """Covariance of what the model misses, per pad: (P, N, M), for channel size 1. Larger where the curve is steep."""
    steep = 0.0 if sizes.warp else STEEP  # with a warp, steepness has its own term
    gain = [_gain(mean, ph, sizes.missed, steep) for ph in (one, other)]
    return np.asarray(gain[0].T[:, :, None] * gaussian_between(one, other, sizes.length) * gain[1].T[:, None, :])


def _gain(mean: Mean, ph: Array, missed: float, steep: float) -> Array:
    """Size of what is missed at pH (N,): (N, P)."""
    slope = np.sqrt((ph_slope(mean, ph, 0.2) ** 2).sum(axis=2) / 3.0)
    inside = missed * np.sqrt(0.25 + (steep * slope) ** 2 / (1.0 + (0.1 * slope) ** 2))
    return np.asarray(np.hypot(inside, BEYOND_RATE * mean.beyond(ph)[:, None]))


def noise_blocks(seen: Observed, mean: Mean, sizes: Sizes) -> Array:
    """Covariance of what photos add, over all photos and pads: (n 3P, n 3P)."""
    n, d = seen.lab.shape
    per_photo = seen.cov + sizes.scatter().cov(seen.pads)
    whole = np.zeros((n, d, n, d))
    whole[np.arange(n), :, np.arange(n), :] = per_photo
    by_ph = ph_slope(mean, seen.ph).reshape(n, d) * seen.ph_sd[:, None]
    same = (seen.group[:, None] == seen.group).astype(float)
    whole += np.einsum("ia,jb,ij->iajb", by_ph, by_ph, same)
    return whole.reshape(n * d, n * d)


def signal_blocks(mean: Mean, one: Array, other: Array, sizes: Sizes) -> Array:
    """Prior covariance of the curve between pH (N,) and (M,): (N 3P, M 3P). Pads are independent."""
    missed = missed_kernel(mean, one, other, sizes)
    left, right = mean.features(one), mean.features(other)
    pads = len(left)
    whole = np.zeros((len(one), pads, 3, len(other), pads, 3))
    ways = [ph_slope(mean, ph, 0.2) for ph in (one, other)] if sizes.warp else []
    for p in range(pads):
        part = np.einsum("nak,mbk->namb", left[p], right[p])
        part = part + missed[p][:, None, :, None] * np.diag(CHANNELS**2)[None, :, None, :]
        if ways:
            near = gaussian_between(one, other, sizes.length)
            moved = np.einsum("na,mb,nm->namb", ways[0][:, p], ways[1][:, p], near)
            part = part + sizes.warp**2 * moved
        whole[:, p, :, :, p, :] = part
    return whole.reshape(len(one) * pads * 3, -1)


class Posterior:
    """The curve given the photos, for one set of sizes."""

    def __init__(self, seen: Observed, mean: Mean, sizes: Sizes) -> None:
        self.seen, self.mean, self.sizes = seen, mean, sizes
        n, d = seen.lab.shape
        self._factor: tuple[Array, bool] | None = None
        if not n:  # no photos at all: the prior is the answer
            return
        K = signal_blocks(mean, seen.ph, seen.ph, sizes) + noise_blocks(seen, mean, sizes)
        K[np.diag_indices(n * d)] += 1e-6
        self._factor = cho_factor(K, lower=True)
        self._miss = (seen.lab - self._prior_mean(seen.ph)).reshape(-1)
        self._weights = cho_solve(self._factor, self._miss)

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
        K = signal_blocks(self.mean, ph, self.seen.ph, self.sizes)
        return np.asarray((self._prior_mean(ph) + (K @ self._weights).reshape(len(ph), -1)).reshape(len(ph), -1, 3))

    def cov(self, ph: Array) -> Array:
        """Posterior covariance at each pH (N, 3P, 3P)."""
        out = []
        for x in ph:
            at = np.array([x])
            cov = signal_blocks(self.mean, at, at, self.sizes)
            if self._factor is not None:
                K = signal_blocks(self.mean, at, self.seen.ph, self.sizes)
                cov = cov - K @ cho_solve(self._factor, K.T)
            out.append(cov)
        return np.asarray(out)

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

    def cost(x: Array) -> float:
        sizes = Sizes(float(np.exp(x[0])), float(np.exp(x[1])), float(np.exp(x[2])), length)
        return -Posterior(seen, mean, sizes).log_evidence() + 0.5 * float((((x - centre) / sd) ** 2).sum())

    found = minimize(cost, centre, method="L-BFGS-B", bounds=[(-3.0, 2.0)] * 3, options={"maxiter": 25})
    common, own, best = np.exp(found.x)
    return Sizes(float(common), float(own), float(best), length)
