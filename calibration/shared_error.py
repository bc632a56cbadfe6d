"""How the errors of photos read with one profile hang together, as a covariance in pH.

They are not independent: the curve is off in the same way for all of them, and so is the bottle of strips. Three causes
are kept apart, with the error budget of every reading:

- the photo's own (noise, light, half of the colour correction, scatter of photos): independent;
- the calibration's (the curve, and the other half of the correction, which the calibrating phone brought in): shared
  by photos of near pH;
- the bottle's (dye, transitions, paper of each pad): shared by all, as far as the same pads speak at both pH values.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from stripread.gauss import gaussian_between
from stripread.ph.kubelka import lab_by_light, lab_by_load
from stripread.ph.profile import Profile
from stripread.results import PhReading
from stripread.tuned import tuned

Array = NDArray[np.float64]
Use = Literal["counted", "covered", "refused", "known"]

WITHIN = 1.96  # standard deviations, half of a 95 % interval
_TUNED = tuned("calibration")
REACH = _TUNED.number("curve_error_reach")
CORRECTION_SHARED = 0.5  # see ``residual.FOREIGN_COLOURANT``: counted for this photo and for the calibrating phone


@dataclass(frozen=True)
class Checked:
    """One photo of the check. ``use``: counted (shift, spread and coverage), covered (coverage only), refused, known
    (the profile was made from this very photo, or it stands in the table twice)."""

    name: str
    truth: float
    truth_sd: float
    reading: PhReading
    use: Use

    @property
    def error(self) -> float:
        """Reading less truth; NaN when refused."""
        return float("nan") if self.reading.ph is None else self.reading.ph - self.truth

    @property
    def half_width(self) -> float:
        """Half the width of the interval shown."""
        assert self.reading.interval is not None
        return 0.5 * (self.reading.interval[1] - self.reading.interval[0])

    @property
    def inside(self) -> bool:
        """Whether the truth lies in the interval shown."""
        return self.reading.interval is not None and self.reading.interval[0] <= self.truth <= self.reading.interval[1]


def error_cov(photos: Sequence[Checked], profile: Profile) -> tuple[Array, Array]:
    """Covariance in pH of the photos' errors: their own (n, n), and what they share (n, n).

    The size of each cause is the reading's own budget, stretched to the interval shown; how it is shared comes from
    the profile's forward model, taken as straight at the known pH.
    """
    ph = np.array([p.truth for p in photos])
    curve, lot, lot_part = _shared_ways(photos, profile)
    sizes = np.array([_sizes(p, part) for p, part in zip(photos, lot_part, strict=True)])  # (n, 3)
    shared = np.sqrt(np.outer(sizes[:, 1], sizes[:, 1])) * curve + np.sqrt(np.outer(sizes[:, 2], sizes[:, 2])) * lot
    truth_sd = np.array([p.truth_sd for p in photos])
    # Photos at one pH are taken to be of one liquid, as in the calibration.
    liquid = np.outer(truth_sd, truth_sd) * (ph[:, None] == ph[None, :])
    return np.diag(sizes[:, 0] + 1e-6) + liquid, shared


def _sizes(photo: Checked, lot_part: float) -> tuple[float, float, float]:
    """Variance in pH of one reading: its own, the calibration's, the bottle's. They add up to the interval's."""
    parts = dict(photo.reading.budget)
    strip = parts.pop("strip_lot", 0.0)
    bottle = lot_part * strip
    half_fix = CORRECTION_SHARED * parts.pop("correction", 0.0)
    shared = parts.pop("calibration", 0.0) + half_fix
    own = sum(parts.values()) + half_fix + strip - bottle
    # A profile without evidence shows a wider interval than its budget: nobody knows why it would be off, so all alike.
    scale = (photo.half_width / WITHIN) ** 2 / max(own + shared + bottle, 1e-9)
    return own * scale, shared * scale, bottle * scale


def _shared_ways(photos: Sequence[Checked], profile: Profile) -> tuple[Array, Array, Array]:
    """How errors are shared: correlations (n, n) of the curve's and of the bottle's, and the bottle's part (n,) in
    what the budget calls the strip's lot.

    A deviation d of the colours moves a reading by w' d with w = S^-1 J / (J' S^-1 J); J is the curve's slope.
    """
    strip = profile.strip
    ph = np.array([p.truth for p in photos])
    n, pads, step = len(ph), strip.pads, 0.05
    slope = (profile.curve(ph + step) - profile.curve(ph - step)) / (2 * step)  # (n, P, 3)
    seen = np.array([np.diag(np.square([c.sd for c in p.reading.pads]).reshape(-1)) for p in photos])
    S = profile.curve_cov(ph) + profile.lot_cov(ph) + seen.reshape(n, 3 * pads, 3 * pads)
    J = slope.reshape(n, -1)
    w = np.linalg.solve(S, J[:, :, None])[:, :, 0]
    w /= np.maximum((w * J).sum(axis=1), 1e-9)[:, None]
    near = gaussian_between(ph, ph, REACH)
    by_pad = w.reshape(n, pads, 3)
    lot = strip.lot
    ways = np.concatenate(
        [
            lot.shift * (by_pad * slope).sum(axis=2),
            lot.load * (by_pad * lab_by_load(profile.curve(ph))).sum(axis=2),
            lot.lightness * by_pad[:, :, 0],
            lot.through * (by_pad * lab_by_light(profile.curve(ph))).sum(axis=(1, 2))[:, None],
        ],
        axis=1,
    )  # (n, 3P + 1): what each change of the bottle does to each reading
    bottle = ways @ ways.T
    photo = np.einsum("ni,ij,nj->n", w, strip.scatter_cov(), w)
    return near, _correlation(bottle), np.diag(bottle) / np.maximum(np.diag(bottle) + photo, 1e-12)


def _correlation(cov: Array) -> Array:
    sd = np.sqrt(np.maximum(np.diag(cov), 1e-12))
    return np.asarray(cov / np.outer(sd, sd))
