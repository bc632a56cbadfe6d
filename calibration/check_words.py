"""A check of a calibration in words: the verdict, the figures behind it, and what to do."""

from __future__ import annotations

import math

from calibration.check import BLIND, ENOUGH_PHOTOS, ENOUGH_POINTS, LIMIT, Check
from calibration.shared_error import Checked
from stripread.states.table import state

MANY_REFUSED = 1 / 3
MANY_LINES = 12


def headline(found: Check) -> str:
    """The verdict in one sentence."""
    if found.verdict == "holds":
        return "holds: the calibration is still true"
    if found.verdict == "too few":
        return "too few photos to tell"
    findings = []
    if "shifted" in found.verdict:
        low, high = sorted(abs(v) for v in found.bias_interval)
        way = "too high" if found.bias > 0 else "too low"
        findings.append(f"shifted: readings are {abs(found.bias):.2f} pH {way} (95 %: {low:.2f} to {high:.2f})")
    if "wider" in found.verdict:
        findings.append(
            f"spread wider than claimed: {found.spread:.2f} pH, where {found.spread_claimed:.2f} is promised"
        )
    return "; ".join(findings)


def figures(found: Check) -> list[str]:
    """The figures behind the verdict, one line each."""
    lines = [_photos(found)]
    if found.freedom:
        low, high = found.bias_interval
        lines.append(
            f"shift {round(found.bias, 2) + 0.0:+.2f} pH (95 %: {low:+.2f} to {high:+.2f}); the intervals allow for "
            f"± {found.bias_allowed:.2f} ({_chance(found.bias_p)} of a larger one)"
        )
    if found.freedom > 1:
        lines.append(
            f"spread {found.spread:.2f} pH about the shift, claimed {found.spread_claimed:.2f} "
            f"({_chance(found.spread_p)} of more)"
        )
        lines.append(f"chi-square of all errors {found.chi_square:.1f} for {found.freedom} photos, p {found.p:.2g}")
    if found.read:
        lines.append(
            f"{found.covered} of {found.read} known values lie in their 95 % interval "
            f"(expected: {found.covered_least} or more)"
        )
    return lines


def outside(found: Check) -> list[str]:
    """The photos whose interval misses the known value, the refused, and those left out."""
    lines = []
    for photo in found.photos:
        if photo.use == "known":
            lines.append(f"{photo.name}: left out, the calibration was made with it or it was given twice")
        elif photo.use == "refused":
            why = next((r.message for r in photo.reading.reasons if r.severity == "refuse"), "")
            lines.append(f"{photo.name}: {state('reading', 'refused').word}. {why}")
        elif not photo.inside:
            lines.append(f"{photo.name}: pH {photo.truth:.2f} was read as {_value(photo)}")
    return lines


def advice(found: Check) -> list[str]:
    """What to do, the most urgent first."""
    out = []
    asked = found.status("ok") + found.status("doubtful") + found.status("refused")
    other = found.with_reason("other_card")
    if other:
        out.append(
            f"{_photos_word(other)} {'shows' if other == 1 else 'show'} another card than the profile was made with, "
            "or a faded one: calibrate again with the card that is used now"
        )
    if "shifted" in found.verdict:
        out.append("repeat two of the photos in fresh buffers: a spoilt or warm buffer looks the same")
        out.append(
            "if the shift stays, calibrate again with the strips that are used now: bottles differ, and they age"
        )
    if "wider" in found.verdict:
        out.append(
            "do not trust the intervals until then: look at the photos named above for drops, dried pads or coloured "
            "light, and calibrate again with two photos a buffer in different light"
        )
    if found.verdict == "too few":
        out.append(_more(found))
    if asked and found.status("refused") > MANY_REFUSED * asked:
        refused = f"{found.status('refused')} of {asked} photos were {state('reading', 'refused').word}"
        out.append(f"{refused}: mend what they say and take them again")
    if found.verdict == "holds":
        low, high = found.bias_interval
        if low > 0 or high < 0:
            out.append("the small shift is real, but the intervals allow for it: nothing needs to be done")
        elif not out:
            out.append("nothing; check again with a new bottle of strips or a new print of the card")
        out.append(f"a shift of {found.notices:.2f} pH or more would have been noticed")
    return out


def in_words(found: Check, name: str) -> str:
    """Several lines for the terminal."""
    lines = [f"{name}: {headline(found)}", *(f"  {f}" for f in figures(found))]
    missed = outside(found)
    if len(missed) > MANY_LINES:
        missed = [*missed[:MANY_LINES], f"... and {len(missed) - MANY_LINES} more (all of them with --json)"]
    if missed:
        lines += ["", "Photos to look at:", *(f"  - {m}" for m in missed)]
    lines += ["", "What to do:", *(f"  - {a}" for a in advice(found))]
    return "\n".join(lines)


def _photos(found: Check) -> str:
    counted = (f"{state('reading', code).word} {found.status(code)}" for code in ("ok", "doubtful", "refused"))
    words = f"{_photos_word(found.read)} with a value ({'; '.join(counted)})"
    bounds = found.count("covered")
    if bounds:
        words += f"; {bounds} with several values or at the end of the range count for the coverage alone"
    known = found.count("known")
    return words + (f"; {known} left out" if known else "")


def _more(found: Check) -> str:
    values = len({p.truth for p in found.photos if p.use == "counted"})
    if found.freedom < ENOUGH_PHOTOS or values < ENOUGH_POINTS:
        return (
            f"photograph more strips: {_photos_word(found.freedom)} at {values} pH value{'' if values == 1 else 's'} "
            f"can be used, {ENOUGH_PHOTOS} at {ENOUGH_POINTS} values are needed"
        )
    return (
        f"photograph more strips, in good light: a shift of {found.notices:.1f} pH would have gone unnoticed "
        f"(wanted: {BLIND:g})"
    )


def _value(photo: Checked) -> str:
    assert photo.reading.interval is not None
    low, high = photo.reading.interval
    return f"{photo.reading.ph:.2f} ({low:.2f} to {high:.2f})"


def _chance(p: float) -> str:
    if math.isnan(p):
        return "no chance known"
    return f"chance {100 * p:.0f} %" if p >= LIMIT else "chance below 1 %"


def _photos_word(number: int) -> str:
    return f"{number} photo{'' if number == 1 else 's'}"
