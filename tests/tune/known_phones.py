"""How far a phone that calibrated is believed: numbers under which its readings are as sure as they say.

A setup is a card, a bottle, a phone and a place. Its profile is made by the calibration's own code from sampled
photos, in many lights or all at the place; the same phone then reads strips of that bottle and of others, there and
elsewhere.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from types import ModuleType
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from calibration.card_estimate import estimate_card
from calibration.curve import fit_chemistry
from calibration.known_pads import KnownPads
from calibration.learn import fit_all, make_profile
from calibration.phones import share as phone_share
from calibration.process import Posterior
from stripread.correction.fit import fix_colour
from stripread.errors import Refused
from stripread.ph.phones import known as known_module
from stripread.ph.phones.known import KnownPhone, match
from stripread.ph.phones.taken import Taken, taken_by
from stripread.ph.quality import KnownPhoto
from stripread.ph.remembered.read_known import read_known
from stripread.results import TakenBy
from stripread.strip.pads import PadSet, pads_to_lab
from stripread.tuned import Value
from tests.accuracy import buffers
from tests.scenes.scene import STRIP_RANGE
from tests.scenes.strips import StripState
from tests.scenes.strips import kind as strip_kind
from tests.tune.engine import Tuning, replaced
from tests.tune.sampled import SampledPhoto, sampled_photo, scene_of_setup

if TYPE_CHECKING:
    from stripread.ph.profile import Profile
    from tests.scenes.light import Lamp

Array = NDArray[np.float64]

KINDS = ("four", "universal")
READS = 16
LEAST_DENSITY = 1e-6  # a pH that the posterior all but rules out counts as this: one photo must not decide alone
PHONE = "the phone"
GRID = np.linspace(0.0, 14.0, 15)


@dataclass(frozen=True)
class Seen:
    """One strip seen by the setup's phone: pads as a stranger's, phone and light, that light's covariance, true pH."""

    pads: PadSet
    taken: Taken
    light_cov: Array
    ph: float


@dataclass(frozen=True)
class Setup:
    """A profile, what its photos say of each share, and strips seen by its phone."""

    profile: Profile
    evidence: Array
    posterior: Posterior
    known: tuple[KnownPads, ...]
    seen: tuple[Seen, ...]


def draw(setup: int) -> Setup:
    """Calibrate, in many lights or in one, then read there and elsewhere."""
    kind, one_light = KINDS[setup // 2 % 2], bool(setup // 4 % 2)
    home = scene_of_setup(setup, 0, 90, phone_seed=setup).lamps
    photos = [
        (_photo(setup, n, 51, kind, float(ph), setup, home if one_light else None), float(ph))
        for n, ph in enumerate(np.repeat(buffers(kind), 2))
    ]
    card = estimate_card([photo.samples for photo, _ in photos])
    known = []
    for n, (photo, ph) in enumerate(photos):
        fix = fix_colour(photo.samples, card)
        pads = pads_to_lab(photo.pads, fix)
        known.append(KnownPads(pads.lab, pads.cov, ph, 0.01, str(n), str(n), pads.of_phone, taken_by(PHONE, fix)))
    fit, by = fit_all(known, None, strip_kind(kind))
    rows = [KnownPhoto(k.photo_name, k.photo_sha256, k.ph, k.ph_sd, k.taken) for k in known]
    posterior = fit_chemistry(known, strip_kind(kind))
    seen = []
    for n, ph in enumerate(np.random.default_rng([setup, 52]).uniform(*STRIP_RANGE[kind], READS)):
        there = one_light and n % 4 != 0
        photo = _photo(setup, n, 53, kind, float(ph), setup + 10_000 * (n % 2), home if there else None)
        try:
            fix = fix_colour(photo.samples, card)
        except Refused:
            continue
        seen.append(Seen(pads_to_lab(photo.pads, fix), taken_by(PHONE, fix), fix.mixing()[1], float(ph)))
    profile = make_profile(strip_kind(kind), fit, by, rows, card)
    return Setup(profile, phone_share.evidence(PHONE, posterior, known), posterior, tuple(known), tuple(seen))


def _photo(  # noqa: PLR0917 - what decides a photo
    setup: int, n: int, tag: int, kind: str, ph: float, bottle: int, lamps: tuple[Lamp, ...] | None
) -> SampledPhoto:
    through = float(np.random.default_rng([bottle, 89]).uniform(0.0, 0.05))
    scene = scene_of_setup(setup, n, tag, phone_seed=setup)
    scene = scene if lamps is None else replace(scene, lamps=lamps)
    strip = StripState(kind, ph, bottle, 1000 * tag + n, through=through)
    return sampled_photo(scene, [strip], np.random.default_rng([setup, n, tag, 1]))


def judged(setup: Setup) -> dict[str, float]:
    """Mean worth of the readings, how many intervals hold the truth, and how many photos were known."""
    share = phone_share.drawn(setup.evidence)
    sure = phone_share.surer(PHONE, share, setup.posterior, setup.known)
    curve = phone_share.curve_left(setup.posterior, sure, GRID)
    profile = replace(setup.profile, phones=(KnownPhone(PHONE, len(setup.known), share, curve),))
    lights = [photo.taken for photo in profile.photos]
    worth, held, known = [], [], []
    for seen in setup.seen:
        found = match(seen.taken, seen.light_cov, profile.phones, lights)
        by = TakenBy(PHONE, seen.taken.light, found.known, found.share, found.curve)
        _, got, _ = read_known(seen.pads.widened(profile.quality.doubt_scale), profile, by)
        worth.append(np.log(max(float(np.interp(seen.ph, got.grid, got.density)), LEAST_DENSITY)))
        held.append(got.interval[0] <= seen.ph <= got.interval[1])
        known.append(found.known == "phone and light")
    return {
        "log density at the true pH": float(np.mean(worth)),
        "intervals that hold it": float(np.mean(held)),
        "known, of all": float(np.mean(known)),
    }


def _tuning(package: str, module: ModuleType, name: str, values: Sequence[float]) -> Tuning[Setup]:
    def judge(setup: Setup, value: Value) -> dict[str, float]:
        with replaced(module, name.upper(), value):
            return judged(setup)

    def fit(setups: Sequence[Setup]) -> Value:
        scores = [np.mean([judge(setup, value)["log density at the true pH"] for setup in setups]) for value in values]
        return values[int(np.argmax(scores))]

    return Tuning(package, draw, fit, judge)


TUNINGS = {
    "phone_spread": _tuning("calibration.phones", phone_share, "phone_spread", (0.25, 0.5, 1.0, 2.0, 4.0)),
    "least_share": _tuning("calibration.phones", phone_share, "least_share", (0.01, 0.03, 0.05, 0.1, 0.2, 0.4)),
    "other_light": _tuning("stripread.ph.phones", known_module, "other_light", (1e-4, 1e-3, 0.01, 0.05, 0.2)),
    "fit_worth": _tuning("stripread.ph.phones", known_module, "fit_worth", (6.0, 8.0, 12.0, 20.0)),
}
