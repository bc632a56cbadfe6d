"""Sizes that a whole profile decides: values under which readings by other phones are as sure as they say.

A setup is a card, a bottle and a phone: its profile is made by the calibration's own code from sampled photos, two a
buffer, and strips of the bottle are then read by other phones. A reading's worth is the logarithm of what its posterior
says at the true pH (the logarithmic score: Good, J. R. Stat. Soc. B 14, 1952; from memory).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from types import ModuleType

import numpy as np

from calibration.card_estimate import estimate_card
from calibration.known_pads import KnownPads
from calibration.learn import fit_all, make_profile
from stripread.correction.fit import fix_colour
from stripread.errors import Refused
from stripread.ph import posterior, quality
from stripread.ph.posterior import infer_ph
from stripread.ph.profile import Profile
from stripread.ph.quality import KnownPhoto
from stripread.strip.pads import PadSet, pads_to_lab
from stripread.tuned import Value
from tests.accuracy import buffers
from tests.scenes.scene import STRIP_RANGE
from tests.scenes.strips import StripState
from tests.scenes.strips import kind as strip_kind
from tests.tune.engine import Tuning, replaced
from tests.tune.sampled import SampledPhoto, sampled_photo, scene_of_setup

PACKAGE = "stripread.ph"
KINDS = ("four", "three")  # in turns: four pads and three
READS = 24
LEAST_DENSITY = 1e-6  # a pH that the posterior all but rules out counts as this: one photo must not decide alone


@dataclass(frozen=True)
class Setup:
    """A profile, and strips seen by other phones: their pads before any widening, and their true pH."""

    profile: Profile
    pads: tuple[PadSet, ...]
    ph: tuple[float, ...]


def calibrated(setup: int, kind: str) -> Profile:
    """The profile of a setup from sampled photos, two a buffer."""
    known = [float(ph) for ph in np.repeat(buffers(kind), 2)]
    photos = [_photo(setup, n, 51, kind=kind, ph=ph, phone_seed=setup) for n, ph in enumerate(known)]
    card = estimate_card([photo.samples for photo in photos])
    pads = [pads_to_lab(photo.pads, fix_colour(photo.samples, card)) for photo in photos]
    rows = [
        KnownPads(p.lab, p.cov, ph, 0.01, str(n), str(n)) for n, (p, ph) in enumerate(zip(pads, known, strict=True))
    ]
    fit, evidence = fit_all(rows, None, strip_kind(kind))
    seen = [KnownPhoto(k.photo_name, k.photo_sha256, k.ph, k.ph_sd) for k in rows]
    return make_profile(strip_kind(kind), fit, evidence, seen, card)


def draw(setup: int) -> Setup:
    """Calibrate, then take photos by others."""
    kind = KINDS[setup // 2 % len(KINDS)]
    profile = calibrated(setup, kind)
    assert profile.card_values is not None
    true = [float(ph) for ph in np.random.default_rng([setup, 52]).uniform(*STRIP_RANGE[kind], READS)]
    read, kept = [], []
    for n, ph in enumerate(true):
        photo = _photo(setup, n, 53, kind=kind, ph=ph)
        try:
            read.append(pads_to_lab(photo.pads, fix_colour(photo.samples, profile.card_values)))
        except Refused:
            continue
        kept.append(ph)
    return Setup(profile, tuple(read), tuple(kept))


def _photo(setup: int, n: int, tag: int, *, kind: str, ph: float, phone_seed: int | None = None) -> SampledPhoto:
    strip = StripState(kind, ph, setup, 1000 * tag + n)
    scene = scene_of_setup(setup, n, tag, phone_seed=phone_seed)
    return sampled_photo(scene, [strip], np.random.default_rng([setup, n, tag, 1]))


def judged(setup: Setup) -> dict[str, float]:
    """Mean worth of the readings of a setup, and how many intervals hold the truth."""
    scale = setup.profile.quality.doubt_scale
    worth, held = [], []
    for pads, ph in zip(setup.pads, setup.ph, strict=True):
        got = infer_ph(pads.widened(scale), setup.profile)
        worth.append(np.log(max(float(np.interp(ph, got.grid, got.density)), LEAST_DENSITY)))
        held.append(got.interval[0] <= ph <= got.interval[1])
    return {"log density at the true pH": float(np.mean(worth)), "intervals that hold it": float(np.mean(held))}


def rescaled(setup: Setup, before: float) -> Setup:
    """The setup with its curve's own doubts as the present widening has them, made with ``before``."""
    strip, ratio = setup.profile.strip, setup.profile.quality.doubt_scale / before
    strip = replace(strip, cov_factor=strip.cov_factor * np.sqrt(ratio), scatter=strip.scatter.widened(ratio))
    return replace(setup, profile=replace(setup.profile, strip=strip))


def _tuning(module: ModuleType, constant: str, values: Sequence[float]) -> Tuning[Setup]:
    def judge(setup: Setup, value: Value) -> dict[str, float]:
        before = setup.profile.quality.doubt_scale
        with replaced(module, constant, value):
            return judged(rescaled(setup, before))

    return Tuning(PACKAGE, draw, _fit(judge, values), judge)


def _fit(
    judge: Callable[[Setup, Value], dict[str, float]], values: Sequence[float]
) -> Callable[[Sequence[Setup]], Value]:
    def fit(setups: Sequence[Setup]) -> Value:
        scores = [np.mean([judge(setup, value)["log density at the true pH"] for setup in setups]) for value in values]
        return values[int(np.argmax(scores))]

    return fit


TUNINGS = {
    "usual_chi_square": _tuning(quality, "USUAL_CHI_SQUARE", (0.3, 0.4, 0.5, 0.6, 0.65, 0.7, 0.8, 0.9, 1.0, 1.2, 1.5)),
    "usual_worth": _tuning(quality, "USUAL_WORTH", (0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 50.0)),
    "most_widened": _tuning(quality, "MOST_WIDENED", (1.0, 1.5, 2.0, 2.5, 3.0, 4.0, 6.0)),
    "ph_freedom": _tuning(posterior, "FREEDOM", (2.0, 3.0, 4.0, 5.0, 6.0, 8.0, 10.0, 14.0, 20.0, 40.0)),
}
