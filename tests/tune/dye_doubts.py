"""Doubts of dyes: the values under which pads of one strip, seen by many phones in many lights, are least surprising.

A setup is one printed card and the phone that learned it. That phone's photos in several lights say what the pads of
eight strips look like; then other phones see the same strips, and their misses are held against the covariance that
the reader states, as one draw of Student's t a strip with the reader's own tails.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from types import ModuleType

import numpy as np
from numpy.typing import NDArray
from scipy.stats import f as fisher

from calibration.card_estimate import estimate_card
from stripread.correction import dyes, residual
from stripread.correction import fit as correction_fit
from stripread.correction.fit import ColourFix, fix_colour
from stripread.errors import Refused
from stripread.ph.posterior import FREEDOM
from stripread.strip.pads import PadSamples
from stripread.tuned import Value, tuned
from tests.scenes.scene import STRIP_RANGE
from tests.scenes.strips import StripState
from tests.tune.engine import Tuning, best, replaced
from tests.tune.sampled import SampledPhoto, sampled_photo, scene_of_setup

Array = NDArray[np.float64]

KINDS = ("four",) * 5 + ("three", "universal", "roll")
LEARNED = 16  # photos by the learning phone
ORDINARY, HARD = 9, 3  # by others: one in four in hard light, as in docs/coverage.md


@dataclass(frozen=True)
class Learned:
    """What the learning phone made of the pads: CIELAB before the inks' shift, that shift (both (P, 3)), and the doubt
    of the mean (P, 3, 3)."""

    plain: Array
    ink_shift: Array
    cov: Array


@dataclass(frozen=True)
class Seen:
    """One photo by another phone: its fit, its pads, their CIELAB before any shift, and what is unsure but for dyes."""

    fix: ColourFix
    pads: PadSamples
    lab: Array
    cov: Array


@dataclass(frozen=True)
class Setup:
    """One card: what was learned of its strips, the photos by others, and where each strip's pads stand among all."""

    learned: Learned
    photos: list[Seen]
    strips: list[slice]


def strips_of(setup: int) -> tuple[list[StripState], list[slice]]:
    """The setup's strips, and where the pads of each stand when all are put one after the other."""
    rng = np.random.default_rng([setup, 41])
    states = [StripState(kind, float(rng.uniform(*STRIP_RANGE[kind])), setup, n) for n, kind in enumerate(KINDS)]
    ends = np.cumsum([len(state.pad_spectra()) for state in states])
    return states, [slice(int(a), int(b)) for a, b in zip([0, *ends[:-1]], ends, strict=True)]


def learners_photos(setup: int) -> list[SampledPhoto]:
    """Photos of the setup's strips by the phone that learns its card, each in its own light."""
    states, _ = strips_of(setup)
    return [
        sampled_photo(scene_of_setup(setup, n, 42, phone_seed=setup), states, np.random.default_rng([setup, n, 43]))
        for n in range(LEARNED)
    ]


def others_photos(setup: int, count: int, tag: int, *, hard: bool = False) -> list[SampledPhoto]:
    """Photos of the same strips by other phones, in ordinary light or in that of hard scenes."""
    states, _ = strips_of(setup)
    return [
        sampled_photo(scene_of_setup(setup, n, tag, hard=hard), states, np.random.default_rng([setup, n, tag + 1]))
        for n in range(count)
    ]


def draw(setup: int) -> Setup:
    """Learn a card and its strips, then see them by others."""
    photos = learners_photos(setup)
    card = estimate_card([photo.samples for photo in photos])
    plain, ink, whole = [], [], []
    for photo in photos:
        fix = fix_colour(photo.samples, card)
        lab, _, _ = fix.to_lab(photo.pads.rgb, photo.pads.at_mm, photo.pads.noise)
        shift, _ = fix.left_over(photo.pads.rgb, photo.pads.at_mm, dye=True)
        ink.append(fix.residual.at(lab - shift)[0])
        plain.append(lab - correction_fit.INK_SHARE * ink[-1])
        whole.append(lab)
    scatter = np.array(whole) - np.mean(whole, axis=0)
    cov = np.einsum("npi,npj->pij", scatter, scatter) / (LEARNED * (LEARNED - 1))
    learned = Learned(np.mean(plain, axis=0), np.mean(ink, axis=0), cov)
    seen = []
    for photo in others_photos(setup, ORDINARY, 44) + others_photos(setup, HARD, 46, hard=True):
        try:
            fix = fix_colour(photo.samples, card)
        except Refused:
            continue
        lab, cov, _ = fix.to_lab(photo.pads.rgb, photo.pads.at_mm, photo.pads.noise)
        shift, shift_cov = fix.left_over(photo.pads.rgb, photo.pads.at_mm, dye=True)
        seen.append(Seen(fix, photo.pads, lab - shift, cov - shift_cov))
    return Setup(learned, seen, strips_of(setup)[1])


def squares(setup: Setup) -> tuple[Array, Array, Array]:
    """Of each strip in each photo: squared distance in standard deviations, ln of the determinant, dimensions: (n,)."""
    known = setup.learned.plain + correction_fit.INK_SHARE * setup.learned.ink_shift
    rows = []
    for photo in setup.photos:
        shift, cov = photo.fix.left_over(photo.pads.rgb, photo.pads.at_mm, dye=True)
        whole = photo.cov + cov
        for p, own in enumerate(setup.learned.cov):
            whole[3 * p : 3 * p + 3, 3 * p : 3 * p + 3] += own
        miss = photo.lab + shift - known
        for strip in setup.strips:
            block = slice(3 * strip.start, 3 * strip.stop)
            r = miss[strip].reshape(-1)
            S = whole[block, block]
            rows.append((float(r @ np.linalg.solve(S, r)), float(np.linalg.slogdet(S)[1]), float(len(r))))
    q, log_det, size = np.array(rows).T
    return q, log_det, size


def log_likelihood(setup: Setup) -> float:
    """Mean over strips of the logarithm of Student's t density, but for a constant."""
    q, log_det, size = squares(setup)
    return float(np.mean(-0.5 * log_det - 0.5 * (FREEDOM + size) * np.log1p(q / FREEDOM)))


def _tuning(name: str, module: ModuleType, low: float, high: float) -> Tuning[Setup]:
    package = "stripread.correction"
    constant = name.upper().removeprefix("DYE_")

    def fit(setups: Sequence[Setup]) -> Value:
        def score(value: Value) -> float:
            with replaced(module, constant, value):
                return float(np.mean([log_likelihood(setup) for setup in setups]))

        return best(score, tuned(package).entries[name].value, low, high)

    def judge(setup: Setup, value: Value) -> dict[str, float]:
        with replaced(module, constant, value):
            q, _, size = squares(setup)
            inside = q <= size * fisher.ppf(0.95, size, FREEDOM)
            return {"log likelihood a strip": log_likelihood(setup), "in their 95 % region": float(inside.mean())}

    return Tuning(package, draw, fit, judge)


TUNINGS = {
    name: _tuning(name, module, low, high)
    for name, module, low, high in (
        ("ink_share", correction_fit, 0.02, 2.0),
        ("channel_sd", dyes, 0.003, 0.3),
        ("channel_power", dyes, 0.2, 4.0),
        ("channel_shared", dyes, 0.01, 0.99),
        ("dye_deepest", dyes, 0.5, 5.0),
        ("dark_sd", dyes, 1e-4, 0.05),
        ("dark_clipped", dyes, 0.5, 100.0),
        ("moved_sd", dyes, 0.05, 3.0),
        ("moved_shared", dyes, 0.01, 0.99),
        ("foreign_colourant", residual, 0.05, 4.0),
        ("foreign_base", residual, 0.02, 5.0),
        ("foreign_shared", residual, 0.01, 0.99),
        ("foreign_length_lab", residual, 3.0, 300.0),
        ("local_lab", residual, 3.0, 300.0),
        ("local_few", residual, 0.05, 50.0),
    )
}
