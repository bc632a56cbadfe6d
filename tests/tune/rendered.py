"""Sizes that only whole pictures show: what lies over a strip, and how far a wide interval must reach.

A setup is a card, a bottle and a phone, of the choosing half of the measured world: its profile is made from rendered
photos, and strips are then read in rendered photos by other phones, one in four in hard light. That takes half a minute
a setup (``SCENE_SHELF=FOLDER`` keeps the photos). A value's worth is the logarithm of what the posterior says at the
true pH, as in ``profiles``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

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
from tests.tune.profiles import LEAST_DENSITY

KINDS = ("universal", "four")  # in turns
READS, HARD_EVERY = 24, 4
WIDE_HELD = 1.0  # of wide intervals: their values are guesses, so that each miss may be a confident one
SHARES = (0.147, 0.1, 0.05, 0.02, 0.01)


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


def judged(setup: Setup) -> dict[str, float]:
    """Mean worth of the readings, and how many intervals hold the truth; of the wide ones too."""
    read = estimates(setup)
    worth = [np.log(max(float(np.interp(ph, got.grid, got.density)), LEAST_DENSITY)) for got, ph in read]
    held = [got.interval[0] <= ph <= got.interval[1] for got, ph in read]
    wide = [h for (got, _), h in zip(read, held, strict=True) if got.interval[1] - got.interval[0] > posterior.WIDE]
    return {
        "log density at the true pH": float(np.mean(worth)),
        "intervals that hold it": float(np.mean(held)),
        "wide ones": float(np.mean(wide)) if wide else float("nan"),
    }


def _veil(name: str, low: float, high: float) -> Tuning[Setup]:
    constant = name.upper()

    def fit(setups: Sequence[Setup]) -> Value:
        def score(value: Value) -> float:
            with replaced(dyes, constant, value):
                return float(np.mean([judged(setup)["log density at the true pH"] for setup in setups]))

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
        for share in SHARES:
            held = [judge(setup, share)["wide ones"] for setup in setups]
            if np.nanmean(held) >= WIDE_HELD:
                return share
        return SHARES[-1]

    return Tuning("stripread.ph", draw, fit, judge)


TUNINGS = {
    "veil_sd": _veil("veil_sd", 0.001, 0.1),
    "veil_shared": _veil("veil_shared", 0.01, 0.99),
    "wide_shoulder": _shoulder(),
}
