"""What a calibration came to, in words: the model, how well left-out buffers are read, and what would help."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from calibration.curve import FittedCurve
from calibration.known_pads import KnownPads
from stripread.colour import delta_e
from stripread.ph.profile import Profile
from stripread.tuned import tuned
from stripread.words import N_, _, _n, number, say

Array = NDArray[np.float64]

GOOD, FAIR = 0.15, 0.3  # mean error in pH of left-out buffers: what the words mean
_TUNED = tuned("calibration")
WANTS_BUFFER = _TUNED.number("wants_buffer")
STEP = 0.25


def report(profile: Profile, fit: FittedCurve, known: list[KnownPads], mixed: Sequence[str] = ()) -> str:
    """Several lines for the terminal; ``mixed``: what does not go together, a sentence each."""
    q = profile.quality
    lines = [
        _(
            "{name}: learned from {evidence}; model: {model}",
            name=profile.name,
            evidence=profile.evidence,
            model=profile.model,
        ),
        _("  why: {why}", why=profile.why),
    ]
    if q.photos:
        lines.append(
            _(
                "  {photos} at {points}",
                photos=_n("{n} photo", "{n} photos", q.photos),
                points=_n("{n} pH value", "{n} pH values", q.points),
            )
        )
    if q.loo_rms == q.loo_rms:
        lines.append(
            _(
                "  {loo_mean}: left-out buffers are read with a mean error of {loo_mean2:.2f} pH (root mean "
                "square {loo_rms:.2f}, worst {loo_worst:.2f}); {loo_coverage:.0%} of them lie in their 95 % "
                "interval",
                loo_mean=word(q.loo_mean),
                loo_mean2=q.loo_mean,
                loo_rms=q.loo_rms,
                loo_worst=q.loo_worst,
                loo_coverage=q.loo_coverage,
            )
        )
    else:
        lines.append(_("  unproven: no buffer could be left out to test the curve"))
    if known:
        lines += ["", *_table(fit, known)]
    if mixed:
        lines += ["", _("What does not go together:"), *(f"  - {one}" for one in mixed)]
    advice = suggestions(profile)
    if advice:
        lines += ["", _("What would help:"), *(f"  - {a}" for a in advice)]
    return "\n".join(lines)


def word(mean_error: float) -> str:
    """Good, fair or poor, in the language spoken now."""
    return say(grade(mean_error))


def grade(mean_error: float) -> Literal["good", "fair", "poor", "unproven"]:
    """What a mean error in pH of left-out buffers is called; NaN where none could be left out."""
    if not np.isfinite(mean_error):
        return "unproven"
    return "good" if mean_error <= GOOD else "fair" if mean_error <= FAIR else "poor"


GRADES = (N_("good"), N_("fair"), N_("poor"), N_("unproven"))


def suggestions(profile: Profile) -> list[str]:
    """What to do for a better profile, the most useful first."""
    out = []
    counts = profile.photos_per_point
    if profile.evidence == "chart only":
        out.append(_("photograph strips dipped in at least five buffers: a printed chart only resembles the pads"))
    elif len(counts) < 5:
        out.append(
            _n(
                "{n} buffer only: five or more let the indicators' chemistry be fitted",
                "{n} buffers only: five or more let the indicators' chemistry be fitted",
                len(counts),
            )
        )
    if counts and not profile.has_evidence:
        out.append(
            _(
                "two photos or more of every buffer, in different light: without them no interval narrower "
                "than 0.5 pH either way is shown"
            )
        )
    for ph, sd in weak_places(profile):
        out.append(_("a buffer near pH {ph:.1f}: the curve itself is unsure by {sd:.2f} pH there", ph=ph, sd=sd))
    return out


def ph_doubt(profile: Profile, ph: Array) -> Array:
    """Standard deviation in pH (N,) that the curve's own doubt brings to a reading at pH (N,).

    With slope J and the whole covariance S, a reading moves by w' c when the curve is off by c, and
    w = S^-1 J / (J' S^-1 J).
    """
    step = 0.1
    slope = ((profile.curve(ph + step) - profile.curve(ph - step)) / (2 * step)).reshape(len(ph), -1)
    own = profile.curve_cov(ph)
    S = own + profile.lot_cov(ph)
    w = np.linalg.solve(S, slope[..., None])[..., 0]
    w = w / np.maximum((w * slope).sum(axis=1), 1e-9)[:, None]
    return np.asarray(np.sqrt(np.einsum("ni,nij,nj->n", w, own, w)))


def weak_places(profile: Profile, most: int = 3) -> list[tuple[float, float]]:
    """Where another buffer would help most: pH and the curve's doubt there, at least one pH apart, worst first."""
    low, high = profile.kind.range
    grid = np.arange(low, high + STEP / 2, STEP)
    doubt = ph_doubt(profile, grid)
    found: list[tuple[float, float]] = []
    for i in np.argsort(-doubt):
        if doubt[i] < WANTS_BUFFER or len(found) == most:
            break
        if all(abs(grid[i] - other) >= 1.0 for other, _ in found):
            found.append((float(grid[i]), float(min(doubt[i], high - low))))
    return found


def _table(fit: FittedCurve, known: list[KnownPads]) -> list[str]:
    """One line a buffer: its photos, how it is read when left out, and what its colours miss the curve by."""
    lines = [_("    pH  photos  read when left out          Delta E to the curve, by pad")]
    for ph in sorted({k.ph for k in known}):
        at = np.array([k.ph == ph for k in known])
        # As the eye sees it: CIELAB's plain distance makes much of a saturated yellow.
        on_curve = fit.strip.curve(np.array([ph]))[0]
        miss = delta_e(on_curve + fit.residuals[at], np.broadcast_to(on_curve, fit.residuals[at].shape)).mean(axis=0)
        chosen = np.flatnonzero(fit.left_out.ph == ph)
        words = "-"
        if len(chosen):
            read = fit.left_out.read[chosen].mean()
            low, high = fit.left_out.low[chosen].min(), fit.left_out.high[chosen].max()
            words = _("{read:5.2f} ({low:.2f} to {high:.2f})", read=read, low=low, high=high)
            if not fit.left_out.inner[chosen[0]]:
                words += _(" end")
        lines.append(f"{number(ph, '6.2f')}  {at.sum():6d}  {words:<26}  " + "  ".join(number(v, "4.1f") for v in miss))
    return lines
