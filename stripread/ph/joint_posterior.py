"""Several observations of one liquid as one posterior: the pads' mean colours, with what is shared counted once.

The observations' colours are jointly normal. By cause, two of them are correlated

- not at all: sensor noise; with different strips also texture, and what makes one strip differ from the next
- fully: the calibrated curve and the lot; with one strip photographed again also its texture and its own deviation
- by r, how alike the photos err: the colour fit of each photo, and a dye's own error, of which the half that the
  calibrating phone made is shared by all

r is not assumed: photos by one phone under one lamp agree far better than their doubts allow: they err alike. What
two photos differ by is what they do not share; the rest they do (variance components, as in a one-way analysis of
variance). So pictures that all say the same narrow an interval less than pictures from different light do.

The mean is weighted by the inverse of each observation's covariance and *not* by that of all together: where errors are
nearly shared, those weights run off to large and negative numbers that rest on how exactly the covariances are known.
The mean's own covariance then has every cross term in it. Since curve and lot are shared, the mean can be read like
one photo.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as fisher

from stripread.ph.curve import Scatter, StripCurve, StripModel
from stripread.ph.observation import StripObservation, square_root
from stripread.ph.posterior import COARSE, FREEDOM, PhEstimate, infer_ph
from stripread.strip.pads import PadSet
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.kind import StripKind
    from stripread.ph.profile import Profile

Array = NDArray[np.float64]

_TUNED = tuned("stripread.ph")
CALIBRATING_PHONE = _TUNED.number("calibrating_phone")
DISAGREE = _TUNED.number("disagree")
CAUSES = ("noise", "texture", "fit", "foreign", "common", "own")


@dataclass(frozen=True)
class Agreement:
    """Whether the observations fit each other: chi-square of their differences along pH, with its degrees of freedom.

    chance: of differences as large as these or larger. colours: root mean square difference of all colours, in standard
    deviations. likeness (n, n): how alike the photos were found to err, 0 to 1.
    """

    chi_square: float
    freedom: int
    chance: float
    colours: float
    likeness: Array

    @property
    def stretch(self) -> float:
        """By how much variances have to grow for the observations to fit each other; 1 where they do."""
        return max(1.0, self.chi_square / self.freedom) if self.freedom and self.chance < DISAGREE else 1.0


@dataclass(frozen=True)
class JointPosterior:
    """What several observations came to. pads: the mean colours; weights (n,): each one's share in the value."""

    pads: PadSet
    estimate: PhEstimate
    agreement: Agreement
    weights: Array


@dataclass(frozen=True)
class _MeanCurve(StripModel):
    """The profile's curve as the mean sees it: of what photos scatter by, only what is left in the mean."""

    kind: StripKind
    strip: StripCurve
    scatter: Array

    def lot_cov(self, ph: Array) -> Array:
        return self.strip.strip_cov(ph) + self.scatter


def infer_joint(
    observations: Sequence[StripObservation], profile: Profile, *, same_strip: bool, alike: Array | None = None
) -> JointPosterior:
    """Read several observations of one liquid together.

    Parameters
    ----------
    observations
        One or more; two of one photo are two strips in it.
    same_strip
        Whether all show one and the same strip.
    alike
        How alike the photos err (n, n), if known; else it is estimated (see above).

    Raises
    ------
    ValueError
        Without an observation.
    """
    if not observations:
        raise ValueError("no observation to read")
    roots = [_with_scatter(observation, profile.strip.scatter) for observation in observations]
    like = (
        likeness(observations, roots, same_strip=same_strip) if alike is None else np.asarray(alike, dtype=np.float64)
    )
    shared = _correlations(like, same_strip)
    weights = _weights(roots)  # (n, 3P, 3P)
    mean = np.einsum("nij,nj->i", weights, np.array([observation.lab.reshape(-1) for observation in observations]))
    parts = {cause: _of_mean([r[cause] for r in roots], weights, shared[cause]) for cause in CAUSES}
    for cause in ("tone", "light", "mixing"):
        parts[cause] = _of_mean([observation.roots[cause] for observation in observations], weights, shared["fit"])
    pads, scatter = _pad_set(mean.reshape(-1, 3), parts), parts["common"] + parts["own"]
    estimate = infer_ph(pads, _MeanCurve(profile.kind, profile.strip, scatter))
    agreement, shares = _agreement(
        observations,
        roots,
        weights,
        estimate.ph,
        _MeanCurve(profile.kind, profile.strip, scatter),
        pads,
        same_strip=same_strip,
    )
    agreement = Agreement(**{**vars(agreement), "likeness": like})
    if agreement.stretch > 1.0:
        pads = _pad_set(pads.lab, {cause: agreement.stretch * part for cause, part in parts.items()})
        estimate = infer_ph(pads, _MeanCurve(profile.kind, profile.strip, agreement.stretch * scatter))
    return JointPosterior(pads, estimate, agreement, shares)


def likeness(observations: Sequence[StripObservation], roots: Sequence[dict[str, Array]], *, same_strip: bool) -> Array:
    """How alike the photos err in what their colour fits leave over: correlation (n, n), 0 to 1, 1 within one photo.

    The difference of two observations has the covariance (1 - r) (C_i + C_j) + what they never share. Its size over all
    colours, whitened by the sum of both, tells r.
    """
    count = len(observations)
    like = np.eye(count)
    apart = ("noise",) if same_strip else ("noise", "texture", "own")
    for i in range(count):
        for j in range(i + 1, count):
            if observations[i].sha256 == observations[j].sha256:
                like[i, j] = like[j, i] = 1.0
                continue
            alone = _sum(roots[i], apart) + _sum(roots[j], apart)
            joint = _sum(roots[i], ("fit", "foreign", "common")) + _sum(roots[j], ("fit", "foreign", "common"))
            whitening = np.linalg.inv(alone + joint)
            off = (observations[i].lab - observations[j].lab).reshape(-1)
            seen = float(off @ whitening @ off) - float(np.trace(whitening @ alone))
            like[i, j] = like[j, i] = np.clip(1.0 - seen / float(np.trace(whitening @ joint)), 0.0, 1.0)
    return _correlation(like)


def _correlations(like: Array, same_strip: bool) -> dict[str, Array]:
    """Correlation (n, n) of the observations' errors by cause."""
    count = len(like)
    none, full = np.eye(count), np.ones((count, count))
    strip = full if same_strip else none
    foreign = CALIBRATING_PHONE * full + (1.0 - CALIBRATING_PHONE) * like
    return {"noise": none, "texture": strip, "fit": like, "foreign": foreign, "common": like, "own": strip}


def _agreement(  # noqa: PLR0917 - what the mean was made of
    observations: Sequence[StripObservation],
    roots: list[dict[str, Array]],
    weights: Array,
    ph: float,
    curve: _MeanCurve,
    pads: PadSet,
    *,
    same_strip: bool,
) -> tuple[Agreement, Array]:
    """Chi-square of the observations about their mean, and each observation's share in the value (n,).

    All that need not be shared may differ: the photos are taken to err independently here, however alike they look.
    """
    count, at = len(observations), np.array([ph - COARSE, ph, ph + COARSE])
    below, _, above = curve.curve(at).reshape(3, -1)
    slope = (above - below) / (2 * COARSE)
    along = np.linalg.solve(pads.cov + curve.curve_cov(at[1:2])[0] + curve.lot_cov(at[1:2])[0], slope)
    shares = np.einsum("i,nij,j->n", along, weights, slope) / max(1e-12, float(along @ slope))
    like = np.array([[float(a.sha256 == b.sha256) for b in observations] for a in observations])
    if count == 1:
        return Agreement(0.0, 0, 1.0, 0.0, like), shares
    shared = _correlations(like, same_strip)
    cov = np.sum([_block([r[cause] for r in roots], shared[cause]) for cause in CAUSES], axis=0)
    size = len(slope)
    contrast = np.concatenate([-np.tile(np.eye(size), (count - 1, 1)), np.eye(size * (count - 1))], axis=1)
    off = contrast @ np.concatenate([observation.lab.reshape(-1) for observation in observations])
    spread = contrast @ cov @ contrast.T
    line = np.kron(np.eye(count - 1), along)  # (n-1, 3P (n-1)): the differences as seen along pH
    square = float(line @ off @ np.linalg.solve(line @ spread @ line.T, line @ off))
    colours = float(off @ np.linalg.solve(spread, off))
    # With Student's tails, as every reading has them, a mean square of such differences follows Fisher's distribution.
    chance = float(fisher.sf(square / (count - 1), count - 1, FREEDOM))
    return Agreement(square, count - 1, chance, float(np.sqrt(colours / len(off))), like), shares


def _pad_set(lab: Array, parts: dict[str, Array]) -> PadSet:
    """The mean as a set of pads; what photos scatter by about the curve is not in it (``_MeanCurve`` has it)."""
    cov = parts["noise"] + parts["texture"] + parts["fit"] + parts["foreign"]
    parts_of_cov = {
        "noise": parts["noise"],
        "texture": parts["texture"],
        "tone": parts["tone"],
        "light": parts["light"],
        "correction": parts["mixing"] + parts["foreign"],
        "cross": parts["fit"] - parts["tone"] - parts["light"] - parts["mixing"],
    }
    return PadSet(lab, cov, parts_of_cov, np.zeros((len(lab), 4, 2)), ())


def _with_scatter(observation: StripObservation, scatter: Scatter) -> dict[str, Array]:
    pads = len(observation.lab)
    common = Scatter(scatter.common, (0.0, 0.0, 0.0)).cov(pads)
    own = Scatter((0.0, 0.0, 0.0), scatter.own).cov(pads)
    return {**observation.roots, "common": square_root(common), "own": square_root(own)}


def _weights(roots: Sequence[dict[str, Array]]) -> Array:
    """Weights (n, 3P, 3P) that add up to the identity: by the inverse covariance of each observation alone."""
    precision = np.array([np.linalg.inv(_sum(r, CAUSES)) for r in roots])
    return np.asarray(np.linalg.inv(precision.sum(axis=0)) @ precision)


def _sum(roots: dict[str, Array], causes: tuple[str, ...]) -> Array:
    return np.asarray(np.sum([roots[cause] @ roots[cause].T for cause in causes], axis=0))


def _of_mean(roots: list[Array], weights: Array, shared: Array) -> Array:
    """Covariance (3P, 3P) of the weighted mean from one cause."""
    turned = np.einsum("nij,njk->nik", weights, np.array(roots))
    return np.asarray(np.einsum("nm,nik,mjk->ij", shared, turned, turned))


def _block(roots: list[Array], shared: Array) -> Array:
    """Joint covariance (3Pn, 3Pn) of the observations from one cause."""
    S = np.array(roots)
    count, size = S.shape[:2]
    return np.asarray(np.einsum("nm,nik,mjk->nimj", shared, S, S).reshape(count * size, count * size))


def _correlation(like: Array) -> Array:
    """The matrix with its negative eigenvalues gone and its diagonal at 1: a correlation matrix again."""
    values, vectors = np.linalg.eigh(like)
    mended = (vectors * np.maximum(values, 0.0)) @ vectors.T
    scale = np.sqrt(np.maximum(np.diag(mended), 1e-12))
    return np.asarray(mended / np.outer(scale, scale))
