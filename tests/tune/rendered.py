"""How far a wide interval must reach, which only whole pictures show.

A setup is a card, a bottle and a phone, of the choosing half of the measured world: its profile is made from rendered
photos, and strips, half of other bottles, are then read in rendered photos by other phones, one in four in hard light.
That takes half a minute a setup (``SCENE_SHELF=FOLDER`` keeps the photos). A wide interval reaches as far as the
density has fallen where the truth is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.stats import chi2

from stripread.correction.fit import ColourFix
from stripread.ph import posterior
from stripread.ph.posterior import PhEstimate, infer_ph
from stripread.ph.profile import Profile
from stripread.ph.read import trace_ph
from stripread.strip.pads import PadSamples, pads_to_lab
from stripread.tuned import Value
from tests.accuracy import profile_of
from tests.coverage_rows import scene_drawn
from tests.scenes.shelf import photo_bytes
from tests.tune.engine import Tuning, replaced

KIND = "universal"  # of one pad: others are hardly ever so wide
READS = 40
WIDE_HELD = 0.995  # of wide intervals: their values are guesses, so that each miss may be a confident one
FARTHEST = 20.0  # twice a fall in log density: one photo must not decide alone


@dataclass(frozen=True)
class Setup:
    """A profile, and strips seen by other phones in whole pictures: each one's pads, its photo's fit, its true pH."""

    profile: Profile
    seen: tuple[tuple[PadSamples, ColourFix, float], ...]


def draw(setup: int) -> Setup:
    """Calibrate, then take photos by others."""
    profile = profile_of(KIND, setup, world="choosing")
    seen = []
    for n in range(READS):
        scene = scene_drawn(KIND, setup, n, world="choosing")
        trace = trace_ph(photo_bytes(scene), profile)
        if trace.first is not None and trace.first.samples is not None and trace.fix is not None:
            assert scene.ph is not None
            seen.append((trace.first.samples, trace.fix, scene.ph))
    return Setup(profile, tuple(seen))


def estimates(setup: Setup) -> list[tuple[PhEstimate, float]]:
    """Every strip read with the numbers as they now are, and its true pH."""
    scale = setup.profile.quality.doubt_scale
    return [(infer_ph(pads_to_lab(pads, fix).widened(scale), setup.profile), ph) for pads, fix, ph in setup.seen]


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
    """How many intervals hold the truth; of the wide ones too."""
    read = estimates(setup)
    held = [got.interval[0] <= ph <= got.interval[1] for got, ph in read]
    wide = [h for (got, _), h in zip(read, held, strict=True) if got.interval[1] - got.interval[0] > posterior.WIDE]
    return {
        "intervals that hold it": float(np.mean(held)),
        "wide ones": float(np.mean(wide)) if wide else float("nan"),
    }


def _shoulder() -> Tuning[Setup]:
    def judge(setup: Setup, value: Value) -> dict[str, float]:
        with replaced(posterior, "WIDE_SHOULDER", value):
            return judged(setup)

    def fit(setups: Sequence[Setup]) -> Value:
        scale = float(np.mean([fall for setup in setups for fall in falls(setup)]))  # 1 where the doubts are right
        return float(np.exp(-0.5 * scale * chi2.ppf(WIDE_HELD, 1)))

    return Tuning("stripread.ph", draw, fit, judge)


TUNINGS = {
    "wide_shoulder": _shoulder(),
}
