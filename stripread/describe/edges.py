"""Edges placed to a tenth of a millimetre: a step from one colour to another, softened by the photo's own blur.

Steps are fitted in light, not in its logarithm: blur mixes light, and where half of it has changed is the edge. Beside
something that lies on paper the contact shadow darkens the paper over half a millimetre and ends at the edge; it is
part of the model, or a white carrier on white paper would seem wider than it is. All edges of the strip are fitted
together, the bare carrier having one colour everywhere; how sure each is comes from what the fit leaves over.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import erfcx, ndtr

from stripread.tuned import tuned

Array = NDArray[np.float64]

_TUNED = tuned("stripread.describe")
RELATIVE_SCATTER = _TUNED.number("relative_scatter")
EVEN_SD = _TUNED.number("even_sd")
RAGGED_MM = _TUNED.number("ragged_edge")
SEAM_TAU_MM = 0.4  # how far a contact shadow reaches: as thick as strips are
SOFTER = (0.8, 1.25, 1.6, 2.0)  # a strip is thicker than the card's marks, and its edges are cut: other blurs tried
TRIED_MM = np.concatenate([np.arange(-0.9, 0.91, 0.15), np.arange(1.2, 4.6, 0.3)])  # outward from the cut's end
STEPS = 8
MOST_STEP_MM = 0.25
CORRELATED_MM = 0.8  # what is left over goes together over about so much: mottle, compression, demosaicing
NOWHERE_MM = 9.0  # the uncertainty of an edge that nothing shows
NEAR_MM = 2.5  # of an edge: what is left over there is its own


@dataclass(frozen=True)
class Edges:
    """Fitted edges: at (K,) mm and their standard deviations (K,); level (K + 1, C): light between them to the paper's.

    left: what the fit leaves over, as chi-square of about that many values as are independent. shadow (2,): depth of
    the contact shadows before the first edge and after the last, 0 or less. Standard deviations say what the profile
    says; what a card adds is added elsewhere.
    """

    at: Array
    sd: Array
    level: Array
    left: float
    shadow: Array


def fit_edges(x: Array, light: Array, start: Array, same: list[list[int]], blur_mm: float) -> Edges:
    """Fit the edges of pieces of even light.

    Parameters
    ----------
    x, light
        Places (N,) mm, and light there (N, C), 1 for bare paper; NaN where nothing is known.
    start
        The edges about where they are (K,), rising; pieces are numbered from 0, so edge k lies between k and k + 1.
    same
        Groups of pieces that have one level, such as the bare carrier's.
    blur_mm
        Standard deviation of the photo's blur.

    Returns
    -------
    Edges
        Where an edge has no contrast it stays about where it was, with a large standard deviation.
    """
    use = np.isfinite(light).all(axis=1)
    profile = _Profile(x[use], light[use], _owners(len(start) + 1, same), blur_mm)
    fit = _descended(profile, start)
    other = [replace(profile, blur=blur_mm * factor) for factor in SOFTER]
    left = [profile.left(fit.at, fit.weight), *(one.left(fit.at, fit.weight) for one in other)]
    if int(np.argmin(left)):
        profile = other[int(np.argmin(left)) - 1]
        fit = _descended(profile, start)
    return _doubted(profile, fit)


@dataclass(frozen=True)
class _Levels:
    """What fits best with edges somewhere: level (L, C), depth of the two shadows (2,), rest (N, C), weighted."""

    level: Array
    depth: Array
    rest: Array


@dataclass(frozen=True)
class _Descent:
    """Where a descent ended: edges (K,), the weights (N,) of the places, and the levels there."""

    at: Array
    weight: Array
    levels: _Levels


@dataclass(frozen=True)
class _Profile:
    """The places x (N,) mm, the light there (N, C), the number of the level of each piece (K + 1,), the blur (mm)."""

    x: Array
    light: Array
    owner: NDArray[np.int_]
    blur: float

    def basis(self, at: Array) -> tuple[Array, Array]:
        """What each level adds at each place (N, L), and the shadows outside the first and the last edge (N, 2)."""
        x, blur = self.x, self.blur
        rising = np.column_stack([np.ones(len(x)), ndtr((x[:, None] - at) / blur), np.zeros(len(x))])
        piece = rising[:, :-1] - rising[:, 1:]
        levels = np.zeros((len(x), self.owner.max() + 1))
        for p, o in enumerate(self.owner):
            levels[:, o] += piece[:, p]
        return levels, np.column_stack([_shadow(at[0] - x, blur), _shadow(x - at[-1], blur)])

    def levels(self, at: Array, weight: Array) -> _Levels:
        """What fits best with edges ``at`` (K,). A shadow takes of all colours alike, and it never adds light."""
        basis, shadow = self.basis(at)
        basis, shadow, wanted = basis * weight[:, None], shadow * weight[:, None], self.light * weight[:, None]
        inverse = np.linalg.inv(basis.T @ basis + np.eye(basis.shape[1]) * 1e-6) @ basis.T
        clear = shadow - basis @ (inverse @ shadow)
        left = wanted.sum(axis=1) - basis @ (inverse @ wanted.sum(axis=1))
        normal, pull = self.light.shape[1] * (clear.T @ clear), clear.T @ left
        normal = normal + np.eye(2) * (1e-6 + 0.02 * np.trace(normal))
        depth = np.linalg.solve(normal, pull)
        for k in (0, 1):
            if depth[k] > 0.0:
                depth[k] = 0.0
                depth[1 - k] = min(0.0, pull[1 - k] / normal[1 - k, 1 - k])
        wanted = wanted - (shadow @ depth)[:, None]
        level = inverse @ wanted
        return _Levels(level, depth, wanted - basis @ level)

    def left(self, at: Array, weight: Array) -> float:
        """Sum of squares left over with edges ``at`` (K,)."""
        return float((self.levels(at, weight).rest ** 2).sum())

    def slopes(self, at: Array, weight: Array) -> Array:
        """Derivatives (K, N, C) of what is left over by each edge, levels refitted."""
        out = []
        for k in range(len(at)):
            step = np.zeros(len(at))
            step[k] = 0.02
            out.append((self.levels(at + step, weight).rest - self.levels(at - step, weight).rest) / 0.04)
        return np.array(out)

    def weights(self, at: Array, level: Array) -> Array:
        """One over the scatter expected at each place (N,): dark pads are mottled more, edges are ragged."""
        model = self.basis(at)[0] @ level
        dark = np.abs(1.0 - model).max(axis=1)
        ragged = np.abs(np.gradient(model, self.x, axis=0)).max(axis=1) * RAGGED_MM
        return np.asarray(1.0 / np.sqrt(EVEN_SD**2 + (RELATIVE_SCATTER * dark) ** 2 + ragged**2))

    def ends(self, at: Array, k: int, weight: Array) -> tuple[Array, Array]:
        """Places (T,) that the first or the last edge, ``k``, may have, and what each leaves over (T,)."""
        tries = at[k] + (TRIED_MM if k else -TRIED_MM)
        low = at[k - 1] if k else self.x[0] + 1.0
        high = at[k + 1] if k + 1 < len(at) else self.x[-1] - 1.0
        tries = np.append(tries[(tries >= low) & (tries <= high)], at[k])
        left = []
        for place in tries:
            moved = at.copy()
            moved[k] = place
            left.append(self.left(moved, weight))
        return tries, np.array(left)


def _descended(profile: _Profile, start: Array) -> _Descent:
    """The edges that leave least over, by damped Gauss-Newton steps."""
    at = _with_ends(profile, start)
    weight = profile.weights(at, profile.levels(at, np.ones(len(profile.x))).level)
    now = profile.levels(at, weight)
    damping = 1e-3
    for step in range(STEPS):
        slope = profile.slopes(at, weight)
        normal = np.einsum("knc,lnc->kl", slope, slope)
        pull = np.einsum("knc,nc->k", slope, now.rest)
        damped = normal + np.diag(damping * (np.diag(normal) + 1e-9) + 1e-6)
        move = np.clip(-np.linalg.solve(damped, pull), -MOST_STEP_MM, MOST_STEP_MM)
        tried = np.maximum.accumulate(at + move)
        then = profile.levels(tried, weight)
        if (then.rest**2).sum() < (now.rest**2).sum():
            at, now, damping = tried, then, max(damping / 4, 1e-5)
        else:
            damping *= 8
        if step > 2 and np.abs(move).max() < 0.01:
            break
    weight = profile.weights(at, now.level)
    return _Descent(at, weight, profile.levels(at, weight))


def _with_ends(profile: _Profile, start: Array) -> Array:
    """The edges with the first and the last where they explain most: a contact shadow and a step look alike.

    A descent from one place ends at the nearer of the two.
    """
    at = start.copy()
    for _ in range(2):
        weight = profile.weights(at, profile.levels(at, np.ones(len(profile.x))).level)
        for k in (0, len(at) - 1):
            tries, left = profile.ends(at, k, weight)
            at[k] = tries[int(np.argmin(left))]
    return at


def _doubted(profile: _Profile, fit: _Descent) -> Edges:
    """The fit's edges with their standard deviations."""
    at, weight, rest = fit.at, fit.weight, fit.levels.rest
    slope = profile.slopes(at, weight)
    normal = np.einsum("knc,lnc->kl", slope, slope)
    inverse = np.linalg.inv(normal + np.eye(len(at)) / NOWHERE_MM**2)
    widen = max(1.0, CORRELATED_MM / float(np.median(np.diff(profile.x))))
    sd = np.empty(len(at))
    for k in range(len(at)):
        near = np.abs(profile.x - at[k]) < NEAR_MM
        variance = max(1.0, float((rest[near] ** 2).mean())) if near.sum() > 3 else NOWHERE_MM**2
        sd[k] = np.sqrt(inverse[k, k] * variance * widen)
        if k in {0, len(at) - 1}:  # which may have more than one place
            tries, left = profile.ends(at, k, weight)
            likely = np.exp(-0.5 * (left - left.min()) / (variance * widen))
            sd[k] = max(sd[k], float(np.sqrt((likely * (tries - at[k]) ** 2).sum() / likely.sum())))
    level = fit.levels.level[profile.owner]
    return Edges(at, np.minimum(sd, NOWHERE_MM), level, float((rest**2).sum()) / widen, fit.levels.depth)


def _owners(pieces: int, same: list[list[int]]) -> NDArray[np.int_]:
    """Number of the level of each piece, (pieces,)."""
    owner = np.arange(pieces)
    for group in same:
        owner[group] = min(group, default=0)
    _, numbers = np.unique(owner, return_inverse=True)
    return np.asarray(numbers)


def _shadow(outside: Array, blur: float) -> Array:
    """exp(-u / tau) for u > 0 and nothing inside the strip, blurred, at the distances outside the edge (N,) mm."""
    z = (blur / SEAM_TAU_MM - outside / blur) / np.sqrt(2.0)
    near = 0.5 * np.exp(-0.5 * (outside / blur) ** 2) * erfcx(np.maximum(z, -5.0))
    far = np.exp(blur**2 / (2 * SEAM_TAU_MM**2) - np.clip(outside, -50, 50) / SEAM_TAU_MM)
    return np.asarray(np.where(z > -5.0, near, far))
