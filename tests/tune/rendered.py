"""Sizes that only whole pictures show: what lies over a strip, and how far a wide interval must reach.

A setup is a card, a bottle and a phone, of the choosing half of the measured world: its profile is made from rendered
photos, and strips are then read in rendered photos by other phones, one in four in hard light. That takes half a minute
a setup (``SCENE_SHELF=FOLDER`` keeps the photos). What lies over a strip is fitted to the colours seen at a known pH;
how far a wide interval reaches, to how far the density has fallen where the truth is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from stripread.correction import dyes
from stripread.correction.fit import ColourFix
from stripread.ph import posterior
from stripread.ph.posterior import PhEstimate, infer_ph
from stripread.ph.profile import Profile
from stripread.ph.read import trace_ph
from stripread.strip.pads import PadSamples, pads_to_lab
from stripread.tuned import Value, tuned
from tests.accuracy import profile_of, scene_of
from tests.scenes.shelf import photo_bytes
from tests.tune.engine import Tuning, best, replaced

KINDS = ("universal", "four")  # in turns
READS, HARD_EVERY = 24, 4
WIDE_HELD = 0.995  # of wide intervals: their values are guesses, so that each miss may be a confident one
FARTHEST = 20.0  # twice a fall in log density: one photo must not decide alone


@dataclass(frozen=True)
class Setup:
    """A profile, and strips seen by other phones in whole pictures: each one's pads, its photo's fit, its true pH."""

    profile: Profile
    seen: tuple[tuple[PadSamples, ColourFix, float], ...]


def draw(setup: int) -> Setup:
    """Calibrate, then take photos by others."""
    kind = KINDS[setup // 2 % len(KINDS)]
    profile = profile_of(kind, setup, world="choosing")
    seen = []
    for n in range(READS):
        scene = scene_of(kind, setup, n, (n + 1) % HARD_EVERY == 0, world="choosing")
        trace = trace_ph(photo_bytes(scene), profile)
        if trace.first is not None and trace.first.samples is not None and trace.fix is not None:
            assert scene.ph is not None
            seen.append((trace.first.samples, trace.fix, scene.ph))
    return Setup(profile, tuple(seen))


def estimates(setup: Setup) -> list[tuple[PhEstimate, float]]:
    """Every strip read with the numbers as they now are, and its true pH."""
    scale = setup.profile.quality.doubt_scale
    return [(infer_ph(pads_to_lab(pads, fix).widened(scale), setup.profile), ph) for pads, fix, ph in setup.seen]


def log_likelihood(setup: Setup) -> float:
    """Mean over strips of the logarithm of Student's t density of their colours at the true pH, but for a constant."""
    scale, worth = setup.profile.quality.doubt_scale, []
    for samples, fix, ph in setup.seen:
        pads, at = pads_to_lab(samples, fix).widened(scale), np.array([ph])
        r = (pads.lab - setup.profile.curve(at)[0]).reshape(-1)
        S = pads.cov + setup.profile.curve_cov(at)[0] + setup.profile.lot_cov(at)[0]
        q = float(r @ np.linalg.solve(S, r))
        tail = 0.5 * (posterior.FREEDOM + len(r)) * np.log1p(q / posterior.FREEDOM)
        worth.append(-0.5 * float(np.linalg.slogdet(S)[1]) - tail)
    return float(np.mean(worth))


def falls(setup: Setup) -> list[float]:
    """Of each reading whose interval is wide: twice how far the log density has fallen at the truth from its highest.

    That is chi-square distributed with one degree of freedom where the doubts are right (S. S. Wilks, Ann. Math. Stat.
    9, 60, 1938; from memory).
    """
    out = []
    for got, ph in estimates(setup):
        if got.interval[1] - got.interval[0] > posterior.WIDE:
            share = float(np.interp(ph, got.grid, got.density)) / float(got.density.max())
            out.append(min(-2.0 * float(np.log(max(share, 1e-9))), FARTHEST))
    return out


def judged(setup: Setup) -> dict[str, float]:
    """Likelihood of the colours, and how many intervals hold the truth; of the wide ones too."""
    read = estimates(setup)
    held = [got.interval[0] <= ph <= got.interval[1] for got, ph in read]
    wide = [h for (got, _), h in zip(read, held, strict=True) if got.interval[1] - got.interval[0] > posterior.WIDE]
    return {
        "log likelihood a strip": log_likelihood(setup),
        "intervals that hold it": float(np.mean(held)),
        "wide ones": float(np.mean(wide)) if wide else float("nan"),
    }


def _veil(name: str, low: float, high: float) -> Tuning[Setup]:
    constant = name.upper()

    def fit(setups: Sequence[Setup]) -> Value:
        def score(value: Value) -> float:
            with replaced(dyes, constant, value):
                return float(np.mean([log_likelihood(setup) for setup in setups]))

        return best(score, tuned("stripread.correction").entries[name].value, low, high)

    def judge(setup: Setup, value: Value) -> dict[str, float]:
        with replaced(dyes, constant, value):
            return judged(setup)

    return Tuning("stripread.correction", draw, fit, judge)


def _shoulder() -> Tuning[Setup]:
    def judge(setup: Setup, value: Value) -> dict[str, float]:
        with replaced(posterior, "WIDE_SHOULDER", value):
            return judged(setup)

    def fit(setups: Sequence[Setup]) -> Value:
        scale = float(np.mean([fall for setup in setups for fall in falls(setup)]))  # 1 where the doubts are right
        return float(np.exp(-0.5 * scale * chi2.ppf(WIDE_HELD, 1)))

    return Tuning("stripread.ph", draw, fit, judge)


TUNINGS = {
    "veil_sd": _veil("veil_sd", 0.001, 0.1),
    "veil_shared": _veil("veil_shared", 0.01, 0.99),
    "wide_shoulder": _shoulder(),
}
