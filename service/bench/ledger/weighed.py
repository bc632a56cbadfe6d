"""The weighings held against what the notes say: do they agree, where would a loss have to be, what is where then.

Each weighing is one difference: silver as the notes say less silver as weighed, as draws with every error in them.
Their means against their covariance tell whether anything is missing at all, and the test gram whose pattern fits them
best tells where: generalised least squares for one loss at one place, the way gross errors are found
in balances of process plants (the generalised likelihood ratio; from memory). What is where after the weighings
is the regression of every amount on the differences, draw by draw.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from service.bench.ledger.draws import Array, N, normal

SOUND = 0.975  # share of sound batches in which no loss is named, and whose weighings count as agreeing
ROOM = 1.1  # times what a vessel held: more than that can't have been lost out of it
NO_WORSE = 1.0  # of the likelihood ratio: places whose fit is no worse than that can't be told apart
TINY_G2 = 1e-12


@dataclass(frozen=True)
class Weighed:
    """One weighing: the vessel's key, its note, the difference (N,), g, and the test grams that it would miss (S,)."""

    vessel: str
    note: int
    at: str
    difference: Array
    missed: Array


@dataclass(frozen=True)
class Site:
    """Where a test gram was lost: the vessel's key, before which note, and the most silver that it held then, g."""

    number: int
    vessel: str
    before: int
    held_g: float = np.inf


@dataclass(frozen=True)
class Found:
    """The one loss that fits the weighings best (below 0: a gain): at which sites, the best first; g and deviation."""

    sites: tuple[Site, ...]
    grams: float
    sd_g: float


@dataclass(frozen=True)
class Compared:
    """Whether the weighings agree with one another and with the notes; the one loss that would fit them best.

    ``sure`` is how many deviations off nothing a loss has to be, so that a sound batch seldom has one.
    """

    agree: bool
    best: Found | None
    sure: float = np.inf

    @property
    def found(self) -> Found | None:
        """The loss that they point to, if they do."""
        best = self.best
        return best if best is not None and best.grams >= self.sure * best.sd_g else None


def compare(weighings: Sequence[Weighed], sites: Sequence[Site]) -> Compared:
    """Hold the weighings against one another.

    How far a loss has to be off nothing comes from the draws themselves: each is a sound batch as the notes have it,
    and the best loss of each is what chance makes of it, whatever the number of places and the skew of their laws.
    """
    if not weighings:
        return Compared(True, None)
    differences = np.array([w.difference for w in weighings])  # (M, N)
    means = differences.mean(axis=1)
    inverse = _inverse(differences)
    agree = _square(means, inverse) <= float(np.quantile(_squares(differences, means, inverse), SOUND))
    seen = [site for site in sites if any(abs(w.missed[site.number]) > TINY_G2 for w in weighings)]
    if not seen:
        return Compared(agree, None)
    patterns = np.array([[w.missed[site.number] for w in weighings] for site in seen])  # (S, M)
    strength = np.einsum("sm,mn,sn->s", patterns, inverse, patterns)
    room = ROOM * np.array([site.held_g for site in seen])
    by_chance, _grams = _gained(patterns @ inverse @ (means[:, None] - differences), strength, room)
    gained, grams = _gained((patterns @ inverse @ means)[:, None], strength, room)
    order = np.argsort(-gained[:, 0])
    best = order[0]
    like = tuple(
        seen[n] for n in order if gained[best, 0] - gained[n, 0] < NO_WORSE and grams[n, 0] * grams[best, 0] > 0.0
    )
    deviation = float(strength[best] ** -0.5)
    sure = float(np.quantile(by_chance.max(axis=0), SOUND)) ** 0.5
    return Compared(agree, Found(like, float(grams[best, 0]), deviation), sure)


def _gained(fit: Array, strength: Array, room: Array) -> tuple[Array, Array]:
    """Of one loss at each site (S, K): twice the log likelihood it gains, and its grams, at most what was there."""
    grams = np.minimum(fit / strength[:, None], room[:, None])
    return 2.0 * grams * fit - grams**2 * strength[:, None], grams


def _square(means: Array, inverse: Array) -> float:
    return float(means @ inverse @ means)


def _squares(differences: Array, means: Array, inverse: Array) -> Array:
    off = differences - means[:, None]
    return np.asarray(np.einsum("mn,mk,kn->n", off, inverse, off))


def _inverse(differences: Array) -> Array:
    """Inverse (M, M) of the covariance of differences (M, N)."""
    covariance = np.atleast_2d(np.cov(differences))
    # A weighing that nothing can doubt still has its last digit: no pair of them may leave the matrix without inverse.
    covariance += np.diag(1e-9 * np.diag(covariance) + TINY_G2)
    return np.asarray(np.linalg.inv(covariance))


def after_weighing(
    amounts: Array, weighings: Sequence[Weighed], found: Found | None, most_g: float
) -> tuple[Array, Array]:
    """Amounts (K, N + S) as the weighings leave them, (K, N), and the loss itself (N,), 0 where none was found.

    ``most_g`` bounds what a loss may be beforehand: its deviation is a third of it.
    """
    drawn = amounts[:, :N].copy()
    loss = np.zeros(N)
    if not weighings:
        return drawn, loss
    differences = np.array([w.difference for w in weighings])
    if found is not None:
        site = found.sites[0]
        loss = most_g / 3.0 * normal(f"loss {site.vessel} {site.before}")
        missed = np.array([w.missed[site.number] for w in weighings])
        differences = differences - np.outer(missed, loss)
        drawn -= np.outer(amounts[:, N + site.number], loss)
    every = np.vstack([drawn, loss])
    centred = differences - differences.mean(axis=1, keepdims=True)
    covariance = centred @ centred.T / (N - 1)
    covariance += np.diag(1e-9 * np.diag(covariance) + TINY_G2)
    across = (every - every.mean(axis=1, keepdims=True)) @ centred.T / (N - 1)
    every = every - across @ np.linalg.solve(covariance, differences)
    return every[:-1], every[-1]
