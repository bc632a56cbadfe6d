"""Two strips of one bottle in one photo: how alike they err, by how far apart their colours lie.

A setup is a card, a bottle and a phone with their profile, as in ``profiles``; other phones then see two strips in the
lane at once, one of them in a liquid of known pH.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from types import ModuleType

import numpy as np
from numpy.typing import NDArray

from stripread.correction.fit import ColourFix, fix_colour
from stripread.errors import Refused
from stripread.ph import comparison, difference
from stripread.ph.buffers import Liquid
from stripread.ph.comparison import ReadStrip, compare
from stripread.ph.difference import difference_of
from stripread.ph.observation import fit_errors_shared, observe_strip
from stripread.ph.posterior import PhEstimate, infer_ph
from stripread.ph.profile import Profile
from stripread.strip.pads import PadSamples, pads_to_lab
from stripread.tuned import Value
from tests.scenes.scene import STRIP_RANGE
from tests.scenes.strips import StripState
from tests.tune.engine import Tuning, replaced
from tests.tune.profiles import LEAST_DENSITY, PACKAGE, calibrated
from tests.tune.sampled import sampled_photo, scene_of_setup

Array = NDArray[np.float64]

KINDS = ("four", "universal", "three")  # in turns, a pair of setups each
PAIRS = 30
LANE_MM = (31.5, 42.5)  # the middles of the two strips
KNOWN_SD = 0.01


@dataclass(frozen=True)
class Pair:
    """One photo of two strips: its fit, the pads of each, their true pH."""

    fix: ColourFix
    sample: PadSamples
    comparison: PadSamples
    ph: float
    known: float


@dataclass(frozen=True)
class Setup:
    """A profile and pairs seen by other phones."""

    profile: Profile
    pairs: tuple[Pair, ...]


def draw(setup: int) -> Setup:
    """Calibrate, then take photos of two strips by others: half of the pairs within half a pH."""
    kind = KINDS[setup // 2 % len(KINDS)]
    low, high = STRIP_RANGE[kind]
    profile = calibrated(setup, kind)
    chance = np.random.default_rng([setup, 54])
    pairs = []
    for n in range(PAIRS):
        known = float(chance.uniform(low, high))
        reach = 0.5 if n % 2 == 0 else high - low
        ph = float(np.clip(known + chance.uniform(-reach, reach), low, high))
        strips = [StripState(kind, p, setup, 55_000 + 2 * n + k) for k, p in enumerate((ph, known))]
        scene = scene_of_setup(setup, n, 55)
        photo = sampled_photo(scene, strips, np.random.default_rng([setup, n, 55, 1]))
        try:
            fix = fix_colour(photo.samples, profile.card_values)
        except Refused:
            continue
        count = len(photo.pads.rgb) // 2
        parts = (_part(photo.pads, slice(k * count, (k + 1) * count), y) for k, y in enumerate(LANE_MM))
        pairs.append(Pair(fix, *parts, ph, known))
    return Setup(profile, tuple(pairs))


def _part(pads: PadSamples, rows: slice, y_mm: float) -> PadSamples:
    at = pads.at_mm[rows].copy()
    at[:, 1] = y_mm
    names = ("rgb", "noise", "texture", "corners_mm", "uneven")
    return replace(pads, at_mm=at, **{name: getattr(pads, name)[rows] for name in names})


def read_strip(pads: PadSamples, fix: ColourFix, profile: Profile) -> ReadStrip:
    """One strip of a pair as the comparison takes it."""
    corrected = pads_to_lab(pads, fix).widened(profile.quality.doubt_scale)
    observation = observe_strip("", "", corrected, pads, fix)
    return ReadStrip(corrected, observation, infer_ph(corrected, profile))


def estimates(pair: Pair, profile: Profile) -> tuple[PhEstimate, PhEstimate]:
    """The sample by itself, and beside its comparison."""
    sample, other = (read_strip(pads, pair.fix, profile) for pads in (pair.sample, pair.comparison))
    shared = fit_errors_shared(pair.sample, pair.comparison, pair.fix, profile.quality.doubt_scale)
    return sample.estimate, compare(sample, other, shared, Liquid("known", pair.known, KNOWN_SD), profile).estimate


def worth(estimate: PhEstimate, ph: float) -> float:
    """Logarithm of what a posterior says at the true pH."""
    return float(np.log(max(float(np.interp(ph, estimate.grid, estimate.density)), LEAST_DENSITY)))


def judged(setup: Setup) -> dict[str, float]:
    """Of readings beside a comparison: mean worth, error and coverage, within half a pH and beyond."""
    rows = []
    for pair in setup.pairs:
        got = estimates(pair, setup.profile)[1]
        held = got.interval[0] <= pair.ph <= got.interval[1]
        rows.append((abs(pair.ph - pair.known), worth(got, pair.ph), abs(got.ph - pair.ph), float(held)))
    apart, value, off, held = np.array(rows).T
    told = {"log density at the true pH": float(value.mean())}
    for name, which in (("within half a pH", apart <= 0.5), ("beyond", apart > 0.5)):
        told[f"error {name}"] = float(off[which].mean()) if which.any() else float("nan")
        told[f"intervals that hold it {name}"] = float(held[which].mean()) if which.any() else float("nan")
    return told


def judged_differences(setup: Setup) -> dict[str, float]:
    """Of differences of two strips, neither of known pH: mean squared error in standard deviations, and coverage."""
    rows = []
    for pair in setup.pairs:
        one, other = (read_strip(pads, pair.fix, setup.profile) for pads in (pair.sample, pair.comparison))
        shared = fit_errors_shared(pair.sample, pair.comparison, pair.fix, setup.profile.quality.doubt_scale)
        got = difference_of(one.observation, other.observation, setup.profile, fit_shared=shared)
        truth, sd = pair.ph - pair.known, (got.interval[1] - got.interval[0]) / (2 * 1.96)
        z = (got.value - truth) / max(sd, 1e-3)
        rows.append((-np.log(sd) - 0.5 * min(z * z, 20.0), abs(z) <= 1.96, abs(got.value - truth)))
    value, held, off = np.array(rows, dtype=float).T
    return {
        "log density at the true difference": float(value.mean()),
        "intervals that hold it": float(held.mean()),
        "error": float(off.mean()),
    }


def _tuning(module: ModuleType, constant: str, values: Sequence[Value], measure: str) -> Tuning[Setup]:
    judging = judged if "pH" in measure else judged_differences

    def judge(setup: Setup, value: Value) -> dict[str, float]:
        with replaced(module, constant, value):
            return judging(setup)

    def fit(setups: Sequence[Setup]) -> Value:
        return values[int(np.argmax([np.mean([judge(s, value)[measure] for s in setups]) for value in values]))]

    return Tuning(PACKAGE, draw, fit, judge)


AT_PH, APART = "log density at the true pH", "log density at the true difference"
TUNINGS = {
    "alike_lab": _tuning(difference, "ALIKE_LAB", (8.0, 12.0, 16.0, 20.0, 25.0, 30.0, 40.0, 50.0, 70.0, 100.0), AT_PH),
    "strip_own": _tuning(comparison, "STRIP_OWN", (0.0, 0.05, 0.1, 0.15, 0.2, 0.3, 0.4, 0.6, 0.8, 1.0), AT_PH),
    "shared_within": _tuning(
        comparison, "SHARED_WITHIN", ((0.3, 0.6), (0.5, 1.0), (1.0, 2.0), (2.0, 3.0), (3.0, 5.0), (14.0, 15.0)), AT_PH
    ),
    "alike_ph": _tuning(difference, "ALIKE_PH", (0.2, 0.3, 0.5, 0.7, 1.0, 1.4, 2.0, 3.0, 5.0), APART),
}
