"""Fitting one pad's chemistry: several starts, several numbers of transitions, and the choice between them."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import least_squares

from calibration import chemistry
from calibration.process import CHANNELS, PRIOR, Observed, Posterior, Sizes, ph_slope
from calibration.spline import through
from stripread.ph.kubelka import absorption, lab_to_channels

Array = NDArray[np.float64]

LEAST, MOST = 3, 6  # transitions of one pad: a pad of four dyes shows about as many as the latter
ABOUT_AS_WELL = 1.0  # in the logarithm of the density
START = Sizes(*(PRIOR[k][0] for k in ("common", "own", "missed")))


@dataclass(frozen=True)
class Chemistry:
    """The chemistry of all pads at parameters ``theta`` (an array (K,) a pad), as a mean of ``process``."""

    theta: tuple[Array, ...]
    priors: tuple[chemistry.PadPrior, ...]

    def lab(self, ph: Array) -> Array:
        """CIELAB (N, P, 3) at pH (N,)."""
        return np.stack([chemistry.pad_lab(t, ph) for t in self.theta], axis=1)

    def features(self, ph: Array) -> list[Array]:
        """Per pad, slope by the scaled parameters (N, 3, K)."""
        return [chemistry.pad_lab_and_slope(t, ph)[1] @ p.factor for t, p in zip(self.theta, self.priors, strict=True)]

    def offset(self) -> list[Array]:
        """Per pad, where the prior's mean lies from here, in scaled parameters (K,)."""
        return [p.root @ (p.mean - t) for t, p in zip(self.theta, self.priors, strict=True)]

    def beyond(self, ph: Array) -> Array:
        """The parameters' prior already widens the curve beyond the points: zeros (N,)."""
        return np.zeros(len(ph))


def one_pad(seen: Observed, pad: int) -> Observed:
    """The photos as if the strip had this pad only."""
    block = slice(3 * pad, 3 * pad + 3)
    return replace(seen, lab=seen.lab[:, block], cov=seen.cov[:, block, block], pads=1)


def fit_pad(seen: Observed, low: float, high: float, near: Array | None = None) -> tuple[Array, chemistry.PadPrior]:
    """Best parameters (K,) of one pad's chemistry (``seen`` has this pad only), and their prior.

    The number of transitions is the largest that foretells left-out points about as well as the best: what the points
    can't tell is then left to the prior and shows as doubt, where fewer transitions would only claim to know.
    ``near``: parameters found with a few photos more; their number of transitions is kept, and they are one more place
    to start.
    """
    if near is not None:
        m = chemistry.transitions_of(near)
        prior = chemistry.prior(m, low, high)
        return _best_start(seen, prior, m, near), prior
    count = len(np.unique(seen.ph))
    tried: list[tuple[float, Array, chemistry.PadPrior]] = []
    for m in range(min(LEAST, max(1, count - 1)), max(1, min(MOST, count - 1)) + 1):
        prior = chemistry.prior(m, low, high)
        theta = _best_start(seen, prior, m)
        score = Posterior(seen, Chemistry((theta,), (prior,)), START).log_left_out()
        tried.append((score, theta, prior))
    best = max(score for score, _, _ in tried)
    _, theta, prior = [t for t in tried if t[0] >= best - ABOUT_AS_WELL][-1]
    return theta, prior


def _best_start(seen: Observed, prior: chemistry.PadPrior, m: int, near: Array | None = None) -> Array:
    spread = np.diag((CHANNELS * np.hypot(START.common, START.own)) ** 2 + (0.5 * CHANNELS * START.missed) ** 2)
    # A liquid's own doubt in pH moves its photos along the curve: where that is steep they say little of the colour.
    along = ph_slope(through(seen), seen.ph, 0.2)[:, 0] * seen.ph_sd[:, None]
    white = np.linalg.inv(np.linalg.cholesky(seen.cov + spread + along[:, :, None] * along[:, None, :]))

    def residuals(theta: Array) -> Array:
        miss = np.einsum("nij,nj->ni", white, chemistry.pad_lab(theta, seen.ph) - seen.lab)
        return np.concatenate([miss.ravel(), prior.root @ (theta - prior.mean)])

    def slope(theta: Array) -> Array:
        by = white @ chemistry.pad_lab_and_slope(theta, seen.ph)[1]
        return np.concatenate([by.reshape(-1, len(theta)), prior.root])

    fits = [
        least_squares(residuals, start, jac=slope, method="lm", max_nfev=60, xtol=1e-5, ftol=1e-5)
        for start in starts(seen, m) + ([] if near is None else [near])
    ]
    return np.asarray(min(fits, key=lambda f: f.cost).x)


def starts(seen: Observed, m: int) -> list[Array]:
    """First guesses (K,): ``m`` transitions where the colour changes, evenly or at its steepest."""
    ph = np.unique(seen.ph)
    lab = np.array([seen.lab[seen.ph == x].mean(axis=0) for x in ph])
    k = absorption(lab_to_channels(lab))
    if len(ph) < 2:
        return [chemistry.pack(ph[0] + np.arange(m, dtype=float), chemistry.STEEPNESS, np.repeat(k, m + 1, axis=0))]
    curve = PchipInterpolator(ph, np.log(k), axis=0)
    change = np.sqrt((np.diff(lab, axis=0) ** 2).sum(axis=1)) + 0.5
    run = np.concatenate([[0.0], np.cumsum(change)]) / change.sum()
    shares = (np.arange(m) + 0.5) / m
    guesses = [np.interp(shares, run, ph), ph[0] + shares * (ph[-1] - ph[0])]
    steepest = np.sort(np.argsort(-change / np.diff(ph))[:m])
    if len(steepest) == m:
        guesses.append(0.5 * (ph[steepest] + ph[steepest + 1]))
    out = []
    for guess in guesses:
        pka = np.maximum.accumulate(guess + 1e-3 * np.arange(m))
        between = np.concatenate([[ph[0]], 0.5 * (pka[1:] + pka[:-1]), [ph[-1]]])
        out.append(chemistry.pack(pka, chemistry.STEEPNESS, np.exp(curve(between))))
    return out
