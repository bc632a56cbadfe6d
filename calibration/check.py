"""Is a calibration still true? Readings of photos at known pH against what the profile promised.

Three questions, each with its chance (``sharederror`` says how errors hang together): are the readings shifted as a
whole, do they scatter more than their intervals say, do the intervals hold the truth often enough? The photos' own
errors say how well the shift is *measured* here; all errors say how large it may be without breaking the promise.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.stats import chi2, norm

from calibration.shared_error import WITHIN, Checked, Use, error_cov
from calibration.tables import BufferRow
from stripread.ph.profile import Profile
from stripread.results import PhReading

Array = NDArray[np.float64]
Verdict = Literal["holds", "shifted", "wider", "shifted and wider", "too few"]

ENOUGH_PHOTOS, ENOUGH_POINTS = 5, 3  # fewer say nothing about spread, or about more than one place of the curve
LIMIT = 0.01  # a finding needs a chance smaller than this; three things are tested
BLIND = 0.5  # pH: a check that would overlook a shift of this size (ASTM D8294-21's figure) can't tell
DRAWS = 4000
_NO_PLAIN_ERROR = ("ambiguous", "end_of_range")  # several values or a bound: right or wrong, but no error in pH


@dataclass(frozen=True)
class Check:
    """What a check came to; errors are reading less truth, in pH.

    bias, bias_interval: mean shift of these photos, 95 % by the photos' own errors. bias_allowed: half width of the
    shifts that the profile's promise covers at 95 %, bias_p: chance of a larger one. spread, spread_claimed: root mean
    square error about the shift. covered, read: photos inside their 95 % interval, of all read; covered_least: fewer
    come by chance only once in forty. chi_square, freedom, p: of all errors together. notices: the smallest shift that
    would have been found nine times in ten. NaN where there is none.
    """

    photos: tuple[Checked, ...]
    verdict: Verdict
    bias: float
    bias_interval: tuple[float, float]
    bias_allowed: float
    bias_p: float
    spread: float
    spread_claimed: float
    spread_p: float
    covered: int
    read: int
    covered_least: int
    covered_p: float
    chi_square: float
    freedom: int
    p: float
    notices: float

    def count(self, *uses: str) -> int:
        """Number of photos put to one of these uses."""
        return sum(p.use in uses for p in self.photos)

    def status(self, status: str) -> int:
        """Number of photos (known ones left out) whose reading has this status."""
        return sum(p.reading.status == status for p in self.photos if p.use != "known")

    def with_reason(self, code: str) -> int:
        """Number of photos whose reading carries a reason."""
        return sum(any(r.code == code for r in p.reading.reasons) for p in self.photos)


def check(rows: Sequence[BufferRow], readings: Sequence[PhReading], profile: Profile) -> Check:
    """Judge a profile by readings of photos at known pH, in the order of ``rows``."""
    photos = _photos(rows, readings, profile)
    counted = [p for p in photos if p.use == "counted"]
    read = [p for p in photos if p.use in ("counted", "covered")]
    covered = sum(p.inside for p in read)
    if not counted:
        nan = float("nan")
        return Check(
            photos, "too few", nan, (nan, nan), nan, nan, nan, nan, nan, covered, len(read), 0, nan, nan, 0, nan, nan
        )
    e = np.array([p.error for p in counted])
    own, shared = error_cov(counted, profile)
    whole = own + shared
    n = len(e)

    weight = 1.0 / np.diag(whole)
    weight /= weight.sum()
    bias = float(weight @ e)
    bias_sd = float(np.sqrt(weight @ whole @ weight))
    bias_p = float(2 * norm.sf(abs(bias) / bias_sd))

    # The weighted mean and what is left of the errors about the best common shift split the chi-square in two.
    solved = np.linalg.solve(whole, np.column_stack([e, np.ones(n)]))
    chi = float(e @ solved[:, 0])
    about = chi - float(e @ solved[:, 1]) ** 2 / float(solved[:, 1].sum())
    spread_p = float(chi2.sf(about, n - 1)) if n > 1 else float("nan")
    centre = np.eye(n) - np.outer(np.ones(n), weight)
    spread = float(np.sqrt((weight * (e - bias) ** 2).sum()))
    claimed = float(np.sqrt(weight @ np.diag(centre @ whole @ centre.T)))
    # Where the photos scatter more than promised, the shift is known less well than promised too.
    stretch = max(1.0, np.sqrt(about / (n - 1))) if n > 1 else 1.0
    half = WITHIN * stretch * float(np.sqrt(weight @ own @ weight))

    least, covered_p = _coverage(read, profile, covered)
    notices = (norm.isf(LIMIT / 2) + norm.isf(0.1)) * bias_sd
    few = n < ENOUGH_PHOTOS or len({p.truth for p in counted}) < ENOUGH_POINTS or notices > BLIND
    shifted = bias_p < LIMIT
    wider = n > 1 and (spread_p < LIMIT or covered_p < LIMIT) and not (shifted and spread_p >= LIMIT)
    return Check(
        photos=photos,
        verdict=_verdict(few=few, shifted=shifted, wider=wider),
        bias=bias,
        bias_interval=(bias - half, bias + half),
        bias_allowed=WITHIN * bias_sd,
        bias_p=bias_p,
        spread=spread,
        spread_claimed=claimed,
        spread_p=spread_p,
        covered=covered,
        read=len(read),
        covered_least=least,
        covered_p=covered_p,
        chi_square=chi,
        freedom=n,
        p=float(chi2.sf(chi, n)),
        notices=float(notices),
    )


def _photos(rows: Sequence[BufferRow], readings: Sequence[PhReading], profile: Profile) -> tuple[Checked, ...]:
    """Rows and readings, each with the use that can be made of it."""
    seen = {p.sha256 for p in profile.photos}
    out = []
    for row, reading in zip(rows, readings, strict=True):
        use: Use = "counted"
        if reading.stamp.sha256 in seen:
            use = "known"
        elif reading.ph is None:
            use = "refused"
        elif any(r.code in _NO_PLAIN_ERROR for r in reading.reasons):
            use = "covered"
        seen.add(reading.stamp.sha256)
        out.append(Checked(row.name, row.ph, row.ph_sd, reading, use))
    return tuple(out)


def _coverage(read: list[Checked], profile: Profile, covered: int) -> tuple[int, float]:
    """The least number of photos inside their intervals at 97.5 %, and the chance of ``covered`` or fewer.

    Drawn, not binomial: photos that share an error are off together.
    """
    own, shared = error_cov(read, profile)
    rng = np.random.default_rng(1)  # the same check gives the same answer
    draws = rng.standard_normal((DRAWS, len(read))) @ np.linalg.cholesky(own + shared).T
    half = np.array([p.half_width for p in read])
    inside = (np.abs(draws) <= half).sum(axis=1)
    return int(np.quantile(inside, 0.025, method="lower")), float((inside <= covered).mean())


def _verdict(*, few: bool, shifted: bool, wider: bool) -> Verdict:
    if shifted and wider:
        return "shifted and wider"
    if shifted:
        return "shifted"
    if wider:
        return "wider"
    return "too few" if few else "holds"


def to_dict(found: Check, profile: str) -> dict[str, Any]:
    """The check as JSON; pH to three digits."""
    return {
        "kind": "check",
        "profile": profile,
        "verdict": found.verdict,
        "bias": _short(found.bias),
        "bias_interval": [_short(v) for v in found.bias_interval],
        "bias_allowed": _short(found.bias_allowed),
        "bias_p": _short(found.bias_p, 4),
        "spread": _short(found.spread),
        "spread_claimed": _short(found.spread_claimed),
        "spread_p": _short(found.spread_p, 4),
        "covered": found.covered,
        "read": found.read,
        "covered_least": found.covered_least,
        "covered_p": _short(found.covered_p, 4),
        "chi_square": _short(found.chi_square, 2),
        "degrees_of_freedom": found.freedom,
        "p": _short(found.p, 4),
        "notices": _short(found.notices),
        "photos": [
            {
                "photo": p.name,
                "ph": _short(p.truth),
                "read": None if p.reading.ph is None else _short(p.reading.ph),
                "interval": None if p.reading.interval is None else [_short(v) for v in p.reading.interval],
                "status": p.reading.status,
                "use": p.use,
                "reasons": [{"code": r.code, "message": r.message} for r in p.reading.reasons],
            }
            for p in found.photos
        ],
    }


def _short(value: float, digits: int = 3) -> float | None:
    return round(value, digits) if np.isfinite(value) else None
