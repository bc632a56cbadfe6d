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

from calibration.process import PRIOR, Observed, Posterior, Sizes, missed_kernel

Array = NDArray[np.float64]

MISSED_WEIGHT = 4.0  # the prior counts as this many left-out points
MISSED_WITHOUT = 4.0  # Lab: size of the miss where no point can be left out


@dataclass(frozen=True)
class Spline:
    """PCHIP through points: pH (N,) rising and CIELAB (N, P, 3). One point alone gives a constant."""

    ph: Array
    points: Array

    def lab(self, ph: Array) -> Array:
        """CIELAB (N, P, 3) at pH (N,); the ends are held."""
        if len(self.ph) == 1:
            return np.repeat(self.points, len(ph), axis=0)
        at = np.clip(ph, self.ph[0], self.ph[-1])
        return np.asarray(PchipInterpolator(self.ph, self.points, axis=0)(at))

    def features(self, ph: Array) -> list[Array]:
        """No parameters: the points are the curve."""
        return [np.zeros((len(ph), 3, 0))] * self.points.shape[1]

    def offset(self) -> list[Array]:
        """No parameters."""
        return [np.zeros(0)] * self.points.shape[1]


def through(seen: Observed) -> Spline:
    """Spline through the mean colour of each group of photos."""
    ph = np.unique(seen.ph)
    mean = np.array([seen.lab[seen.ph == x].mean(axis=0) for x in ph])
    return Spline(ph, mean.reshape(len(ph), seen.pads, 3))


def fit_spline(seen: Observed, sizes: Sizes | None = None) -> Posterior:
    """The spline with its doubts; ``sizes`` are found from the photos unless given."""
    if sizes is None:
        sizes = repeat_sizes(seen)
        sizes = replace(sizes, missed=missed_size(seen, sizes))
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


def missed_size(seen: Observed, sizes: Sizes) -> float:
    """Size of what the spline misses between its points, from each inner point left out in turn."""
    spline = through(seen)
    inner = range(1, len(spline.ph) - 1)
    if len(inner) < 2:
        return MISSED_WITHOUT
    unit = replace(sizes, missed=1.0)
    total, count = MISSED_WEIGHT * PRIOR["missed"][0] ** 2, MISSED_WEIGHT
    for i in inner:
        rest = Spline(np.delete(spline.ph, i), np.delete(spline.points, i, axis=0))
        at = spline.ph[i : i + 1]
        miss = (spline.points[i] - rest.lab(at)[0]) ** 2  # (P, 3)
        shots = np.flatnonzero(seen.ph == at[0])
        photo = (seen.cov[shots].mean(axis=0) + sizes.scatter().cov(seen.pads)) / len(shots)
        miss = miss - np.diag(photo).reshape(-1, 3)
        near = missed_kernel(spline, rest.ph, rest.ph, unit) + 1e-3 * np.eye(len(rest.ph))
        to = missed_kernel(spline, at, rest.ph, unit)[:, 0]
        known = np.einsum("pn,pn->p", to, np.linalg.solve(near, to[..., None])[..., 0])
        left = missed_kernel(spline, at, at, unit)[:, 0, 0] - known
        total += float((miss / np.maximum(left, 0.05)[:, None]).mean())
        count += 1.0
    return float(np.clip(np.sqrt(max(total, 0.0) / count), 0.3, 8.0))
