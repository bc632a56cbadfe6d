"""The fallback: a shape-preserving spline through the points, and how far it may be off between them.

Used where the chemistry can't be fitted: too few points, or left-out points are foretold better without it. The
spline is PCHIP in CIELAB against pH (Fritsch and Carlson 1980): it never overshoots its points. Its doubt between the
points is a Gaussian process of the size that leaving points out shows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.interpolate import PchipInterpolator
from scipy.optimize import minimize

from calibration.process import CHANNELS, PRIOR, Observed, Posterior, Sizes, ph_slope
from stripread.gauss import gaussian, gaussian_between
from stripread.tuned import tuned

Array = NDArray[np.float64]

_TUNED = tuned("calibration")
MISSED = _TUNED.number("spline_missed")
MISSED_SD = _TUNED.number("spline_missed_sd")
WARP = _TUNED.number("spline_warp")
WARP_SD = _TUNED.number("spline_warp_sd")
OPEN = 3.0  # times: a prior so wide takes nothing off; 1 in 1 + 1 / OPEN^2 of the variance is left after the photos


@dataclass(frozen=True)
class Spline:
    """PCHIP through points: pH (N,) rising and CIELAB (N, P, 3). One point alone gives a constant.

    ph_sd (N,): standard deviation of each point's pH; None where it goes without saying.
    """

    ph: Array
    points: Array
    ph_sd: Array | None = None

    def lab(self, ph: Array) -> Array:
        """CIELAB (N, P, 3) at pH (N,); the ends are held."""
        if len(self.ph) == 1:
            return np.repeat(self.points, len(ph), axis=0)
        at = np.clip(ph, self.ph[0], self.ph[-1])
        return np.asarray(PchipInterpolator(self.ph, self.points, axis=0)(at))

    def features(self, ph: Array) -> list[Array]:
        """Per pad, slope (N, 3, K) by what is open: how far each point lies off along the curve, for its liquid's pH.

        The points are the curve, so nothing but a point's own photos tells where it is there: what is open is given
        ``OPEN`` times the doubt of its pH, and the photos, with that doubt, take it back to about once.
        """
        pads = self.points.shape[1]
        if self.ph_sd is None or len(self.ph) == 1:
            return [np.zeros((len(ph), 3, 0))] * pads
        near = np.stack([np.interp(ph, self.ph, unit) for unit in np.eye(len(self.ph))], axis=1)  # (N, K)
        way = ph_slope(self, self.ph, 0.2) * (OPEN * self.ph_sd)[:, None, None]  # (K, P, 3)
        return [near[:, None, :] * way[:, p].T for p in range(pads)]

    def offset(self) -> list[Array]:
        """The points as they lie (K,)."""
        return [np.zeros(0 if self.ph_sd is None or len(self.ph) == 1 else len(self.ph))] * self.points.shape[1]

    def beyond(self, ph: Array) -> Array:
        """Distance in pH (N,) from the points' range."""
        return np.asarray(np.maximum(self.ph[0] - ph, 0.0) + np.maximum(ph - self.ph[-1], 0.0))


def through(seen: Observed) -> Spline:
    """Spline through the mean colour of each group of photos."""
    ph = np.unique(seen.ph)
    mean = np.array([seen.lab[seen.ph == x].mean(axis=0) for x in ph])
    sd = np.array([seen.ph_sd[seen.ph == x].max() for x in ph])
    return Spline(ph, mean.reshape(len(ph), seen.pads, 3), sd)


def fit_spline(seen: Observed, sizes: Sizes | None = None) -> Posterior:
    """The spline with its doubts; ``sizes`` are found from the photos unless given."""
    if sizes is None:
        sizes = repeat_sizes(seen)
        sizes = missed_sizes(seen, sizes)
    return Posterior(seen, through(seen), sizes)


def repeat_sizes(seen: Observed) -> Sizes:
    """Scatter between photos of one pH (restricted likelihood of their contrasts), drawn to its prior."""
    centre = np.log([PRIOR["common"][0], PRIOR["own"][0]])
    sd = np.array([PRIOR["common"][1], PRIOR["own"][1]])
    groups = [np.flatnonzero(seen.group == g) for g in range(int(seen.group.max()) + 1)]

    def cost(x: Array) -> float:
        scatter = Sizes(float(np.exp(x[0])), float(np.exp(x[1])), 1.0).scatter().cov(seen.pads)
        total = 0.5 * float((((x - centre) / sd) ** 2).sum())
        for numbers in groups:
            free = len(numbers) - 1
            if free < 1:
                continue
            away = seen.lab[numbers] - seen.lab[numbers].mean(axis=0)
            cov = seen.cov[numbers].mean(axis=0) + scatter
            total += 0.5 * float(np.einsum("ni,ij,nj->", away, np.linalg.inv(cov), away))
            total += 0.5 * free * float(np.linalg.slogdet(cov)[1])
        return total

    found = minimize(cost, centre, method="L-BFGS-B", bounds=[(-3.0, 2.0)] * 2)
    return Sizes(float(np.exp(found.x[0])), float(np.exp(found.x[1])), 1.0)


def missed_sizes(seen: Observed, sizes: Sizes) -> Sizes:
    """Sizes of what the spline misses between its points: the pair that makes each inner point left out most likely."""
    spline = through(seen)
    inner = range(1, len(spline.ph) - 1)
    left = [_left_out(seen, sizes, spline, i) for i in inner]

    def cost(missed: float, warp: float) -> float:
        total = 0.0
        for centre, value, sd in ((MISSED, missed, MISSED_SD), (WARP, warp, WARP_SD)):
            total += 0.5 * (float(np.log(value / centre)) / sd) ** 2
        for miss, way, share, photo in left:
            for p in range(seen.pads):
                cov = share * (missed**2 * np.diag(CHANNELS**2) + warp**2 * np.outer(way[p], way[p])) + photo[p]
                total += 0.5 * float(miss[p] @ np.linalg.solve(cov, miss[p])) + 0.5 * float(np.linalg.slogdet(cov)[1])
        return total

    found = minimize(
        lambda x: cost(*np.exp(x)), np.log([MISSED, WARP]), method="L-BFGS-B", bounds=[(-1.5, 2.5), (-4.0, 1.0)]
    )
    missed, warp = np.exp(found.x)
    return replace(sizes, missed=2.0 * float(missed), warp=float(warp))  # a flat curve is missed by half of ``missed``


def _left_out(seen: Observed, sizes: Sizes, spline: Spline, i: int) -> tuple[Array, Array, float, Array]:
    """Leave point i out: error (P, 3), slope there (P, 3), share of a size that is left, photos' doubt (P, 3, 3)."""
    rest = Spline(np.delete(spline.ph, i), np.delete(spline.points, i, axis=0))
    at = spline.ph[i : i + 1]
    shots = np.flatnonzero(seen.ph == at[0])
    photo = (seen.cov[shots].mean(axis=0) + sizes.scatter().cov(seen.pads)) / len(shots)
    blocks = np.array([photo[3 * p : 3 * p + 3, 3 * p : 3 * p + 3] for p in range(seen.pads)])
    near = gaussian_between(rest.ph, rest.ph, sizes.length) + 1e-3 * np.eye(len(rest.ph))
    to = gaussian(at - rest.ph, sizes.length)
    share = max(float(1.0 - to @ np.linalg.solve(near, to)), 0.05)
    way = ph_slope(rest, at, 0.2)[0]
    blocks += float(seen.ph_sd[shots].max()) ** 2 * way[:, :, None] * way[:, None, :]
    return spline.points[i] - rest.lab(at)[0], way, share, blocks
