"""A check of a calibration in words: the verdict, the figures behind it, and what to do."""

from __future__ import annotations

import math

from calibration.check import BLIND, ENOUGH_PHOTOS, ENOUGH_POINTS, LIMIT, Check
from calibration.shared_error import Checked
from stripread.states.table import state
from stripread.words import _, _n

MANY_REFUSED = 1 / 3
MANY_LINES = 12


def headline(found: Check) -> str:
    """The verdict in one sentence."""
    if found.verdict == "holds":
        return _("holds: the calibration is still true")
    if found.verdict == "too few":
        return _("too few photos to tell")
    findings = []
    if "shifted" in found.verdict:
        low, high = sorted(abs(v) for v in found.bias_interval)
        way = _("too high") if found.bias > 0 else _("too low")
        findings.append(
            _(
                "shifted: readings are {bias:.2f} pH {way} (95 %: {low:.2f} to {high:.2f})",
                bias=abs(found.bias),
                way=way,
                low=low,
                high=high,
            )
        )
    if "wider" in found.verdict:
        findings.append(
            _(
                "spread wider than claimed: {spread:.2f} pH, where {spread_claimed:.2f} is promised",
                spread=found.spread,
                spread_claimed=found.spread_claimed,
            )
        )
    return "; ".join(findings)


def figures(found: Check) -> list[str]:
    """The figures behind the verdict, one line each."""
    lines = [_photos(found)]
    if found.freedom:
        low, high = found.bias_interval
        lines.append(
            _(
                "shift {bias:+.2f} pH (95 %: {low:+.2f} to {high:+.2f}); the intervals allow for ± "
                "{bias_allowed:.2f} ({bias_p} of a larger one)",
                bias=round(found.bias, 2) + 0.0,
                low=low,
                high=high,
                bias_allowed=found.bias_allowed,
                bias_p=_chance(found.bias_p),
            )
        )
    if found.freedom > 1:
        lines.append(
            _(
                "spread {spread:.2f} pH about the shift, claimed {spread_claimed:.2f} ({spread_p} of more)",
                spread=found.spread,
                spread_claimed=found.spread_claimed,
                spread_p=_chance(found.spread_p),
            )
        )
        lines.append(
            _(
                "chi-square of all errors {chi_square:.1f} for {freedom} photos, p {p:.2g}",
                chi_square=found.chi_square,
                freedom=found.freedom,
                p=found.p,
            )
        )
    if found.read:
        lines.append(
            _(
                "{covered} of {read} known values lie in their 95 % interval (expected: {covered_least} or more)",
                covered=found.covered,
                read=found.read,
                covered_least=found.covered_least,
            )
        )
    return lines


def outside(found: Check) -> list[str]:
    """The photos whose interval misses the known value, the refused, and those left out."""
    lines = []
    for photo in found.photos:
        if photo.use == "known":
            lines.append(_("{name}: left out, the calibration was made with it or it was given twice", name=photo.name))
        elif photo.use == "refused":
            why = next((r.message for r in photo.reading.reasons if r.severity == "refuse"), "")
            refused = state("reading", "refused").word
            lines.append(_("{name}: {refused}. {why}", name=photo.name, refused=refused, why=why))
        elif not photo.inside:
            lines.append(
                _("{name}: pH {truth:.2f} was read as {photo}", name=photo.name, truth=photo.truth, photo=_value(photo))
            )
    return lines


def advice(found: Check) -> list[str]:
    """What to do, the most urgent first."""
    out = []
    asked = found.status("ok") + found.status("doubtful") + found.status("refused")
    other = found.with_reason("other_card")
    if other:
        out.append(
            _n(
                "{n} photo shows another card than the profile was made with, or a faded one: calibrate again "
                "with the card that is used now",
                "{n} photos show another card than the profile was made with, or a faded one: calibrate again "
                "with the card that is used now",
                other,
            )
        )
    if "shifted" in found.verdict:
        out.append(_("repeat two of the photos in fresh buffers: a spoilt or warm buffer looks the same"))
        out.append(
            _("if the shift stays, calibrate again with the strips that are used now: bottles differ, and they age")
        )
    if "wider" in found.verdict:
        out.append(
            _(
                "do not trust the intervals until then: look at the photos named above for drops, dried pads "
                "or coloured light, and calibrate again with two photos a buffer in different light"
            )
        )
    if found.verdict == "too few":
        out.append(_more(found))
    if asked and found.status("refused") > MANY_REFUSED * asked:
        out.append(
            _(
                "{status} of {asked} photos were {refused}: mend what they say and take them again",
                status=found.status("refused"),
                asked=asked,
                refused=state("reading", "refused").word,
            )
        )
    if found.verdict == "holds":
        low, high = found.bias_interval
        if low > 0 or high < 0:
            out.append(_("the small shift is real, but the intervals allow for it: nothing needs to be done"))
        elif not out:
            out.append(_("nothing; check again with a new bottle of strips or a new print of the card"))
        out.append(_("a shift of {notices:.2f} pH or more would have been noticed", notices=found.notices))
    return out


def in_words(found: Check, name: str) -> str:
    """Several lines for the terminal."""
    lines = [f"{name}: {headline(found)}", *(f"  {f}" for f in figures(found))]
    missed = outside(found)
    if len(missed) > MANY_LINES:
        missed = [
            *missed[:MANY_LINES],
            _("... and {n_missed} more (all of them with --json)", n_missed=len(missed) - MANY_LINES),
        ]
    if missed:
        lines += ["", _("Photos to look at:"), *(f"  - {m}" for m in missed)]
    lines += ["", _("What to do:"), *(f"  - {a}" for a in advice(found))]
    return "\n".join(lines)


def _photos(found: Check) -> str:
    counted = (f"{state('reading', code).word} {found.status(code)}" for code in ("ok", "doubtful", "refused"))
    words = _("{read} with a value ({counted})", read=_photos_word(found.read), counted="; ".join(counted))
    bounds = found.count("covered")
    if bounds:
        words += _(
            "; {bounds} with several values or at the end of the range count for the coverage alone", bounds=bounds
        )
    known = found.count("known")
    return words + (_("; {known} left out", known=known) if known else "")


def _more(found: Check) -> str:
    values = len({p.truth for p in found.photos if p.use == "counted"})
    if found.freedom < ENOUGH_PHOTOS or values < ENOUGH_POINTS:
        return _(
            "photograph more strips: {freedom} at {values} can be used, {enough_photos} at {enough_points} "
            "values are needed",
            freedom=_photos_word(found.freedom),
            values=_n("{n} pH value", "{n} pH values", values),
            enough_photos=ENOUGH_PHOTOS,
            enough_points=ENOUGH_POINTS,
        )
    return _(
        "photograph more strips, in good light: a shift of {notices:.1f} pH would have gone "
        "unnoticed (wanted: {blind:g})",
        notices=found.notices,
        blind=BLIND,
    )


def _value(photo: Checked) -> str:
    assert photo.reading.interval is not None
    low, high = photo.reading.interval
    return _("{ph:.2f} ({low:.2f} to {high:.2f})", ph=photo.reading.ph, low=low, high=high)


def _chance(p: float) -> str:
    if math.isnan(p):
        return _("no chance known")
    return _("chance {share:.0f} %", share=100 * p) if p >= LIMIT else _("chance below 1 %")


def _photos_word(number: int) -> str:
    return _n("{n} photo", "{n} photos", number)
