"""The next best liquid: which of those at hand would lessen the curve's doubt most, and whether one more is worth it.

All is normal, so what a further pair of photos would leave is known before they are taken: at a pH with the curve's
covariance S and slope J along pH, photos with noise R there leave S - S (S + R)^-1 S (the formula of a Gaussian
posterior; Rasmussen and Williams 2006, eq. 2.24). How far they tell about the curve elsewhere goes with how alike its
errors are over pH.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calibration.liquids.table import liquids
from calibration.process import MISSED_LENGTH
from calibration.report import GOOD, STEP, WANTS_BUFFER, ph_doubt
from stripread.gauss import gaussian_between
from stripread.ph.profile import Profile
from stripread.words import _, say

Array = NDArray[np.float64]

WORTH = 0.05  # of the mean doubt: a liquid that takes off less is not worth an evening
PHOTOS = 2  # of a further liquid, in different light


@dataclass(frozen=True)
class Gain:
    """What a liquid would bring: the curve's mean doubt over the range, pH, now and with it."""

    key: str
    ph: float
    ph_sd: float
    now: float
    then: float

    @property
    def share(self) -> float:
        """Part of the mean doubt that it takes off, 0 to 1."""
        return 1.0 - self.then / self.now if self.now > 0 else 0.0


def gains(profile: Profile, at_hand: Sequence[str], temp_c: float = 20.0) -> list[Gain]:
    """What each liquid at hand would bring to this curve, the best first; those beyond the strip's range left out."""
    low, high = profile.kind.range
    grid = np.arange(low, high + STEP / 2, STEP)
    doubt = np.minimum(ph_doubt(profile, grid), high - low)
    now = float(doubt.mean())
    out = []
    for key in at_hand:
        liquid = liquids()[key]
        if not liquid.rows[0][0] <= temp_c <= liquid.rows[-1][0]:
            continue
        ph, sd = liquid.ph(temp_c)
        if low <= ph <= high:
            out.append(Gain(key, ph, sd, now, float(_with(profile, grid, doubt, ph, sd).mean())))
    return sorted(out, key=lambda gain: gain.then)


def _with(profile: Profile, grid: Array, doubt: Array, ph: float, ph_sd: float) -> Array:
    """The curve's doubt (N,) on the grid, in pH, with ``PHOTOS`` photos more of a liquid of that pH and sd."""
    at = np.array([ph])
    here = float(min(ph_doubt(profile, at)[0], profile.kind.range[1] - profile.kind.range[0]))
    noise = ph_sd**2 + _photo_noise(profile, at) / PHOTOS
    told = here**2 / (here**2 + noise)  # share of the doubt's variance there that the photos take away
    alike = gaussian_between(grid, at, MISSED_LENGTH)[:, 0] ** 2
    return np.asarray(doubt * np.sqrt(1.0 - told * alike))


def _photo_noise(profile: Profile, at: Array) -> float:
    """Variance in pH that one photo of one strip adds at a pH (1,): scatter and strip along the curve."""
    step = 0.1
    slope = ((profile.curve(at + step) - profile.curve(at - step)) / (2 * step)).reshape(-1)
    noise = profile.lot_cov(at)[0]
    return float(1.0 / max(float(slope @ np.linalg.solve(noise, slope)), 1e-3))


def in_words(found: Sequence[Gain], profile: Profile) -> str:
    """What to do next, in a sentence, with what it would bring; or that it is enough."""
    low, high = profile.kind.range
    worst = float(np.minimum(ph_doubt(profile, np.arange(low, high + STEP / 2, STEP)), high - low).max())
    best = found[0] if found else None
    if best is None:
        return _("None of the liquids ticked lies in the range of this strip.")
    name = say(liquids()[best.key].name)
    figures = {"liquid": name, "ph": best.ph, "now": best.now, "then": best.then}
    if best.now <= GOOD / 2 and worst < WANTS_BUFFER:
        return _(
            "Enough: the curve is unsure by {now:.2f} pH on average. One more, best {liquid} (pH {ph:.1f}), would "
            "bring that to {then:.2f}.",
            **figures,
        )
    if best.share < WORTH:
        return _(
            "None of the liquids ticked would help much: the best, {liquid} (pH {ph:.1f}), brings the curve's mean "
            "doubt from {now:.2f} to {then:.2f} pH.",
            **figures,
        )
    return _(
        "Next {liquid} (pH {ph:.1f}), two photos in different light, one by daylight: that brings the curve's mean "
        "doubt from {now:.2f} to {then:.2f} pH.",
        **figures,
    )
