"""Readings of the card's windows as lines of text for people."""

from __future__ import annotations

from service.terminal.once import SaidOnce
from stripread.results import SolidReading, TintReading
from stripread.states.table import mark
from stripread.words import _, say


def tint_lines(reading: TintReading, run: SaidOnce) -> str:
    """A tint in words: decision, concentration or absorbance, limit, then its own reasons, one a line."""
    if reading.absorbance is None or reading.absorbance_interval is None:
        head = _("no value")
    elif reading.mg_per_l is not None and reading.interval is not None and reading.detection_limit is not None:
        low, high = reading.interval
        head = _(
            "{decision}: {mg_per_l:.1f} mg/L copper (95 %: {low:.1f} to {high:.1f}; ",
            decision=say(reading.decision),
            mg_per_l=reading.mg_per_l,
            low=low,
            high=high,
        )
        head += _("{detection_limit:.1f} would be seen)", detection_limit=reading.detection_limit)
    else:
        low, high = reading.absorbance_interval
        head = _(
            "{decision}: absorbance {absorbance:.4f} (95 %: {low:.4f} to {high:.4f})",
            decision=say(reading.decision),
            absorbance=reading.absorbance,
            low=low,
            high=high,
        )
    lines = [f"{reading.stamp.photo}: {head}  [{mark(reading.status)}]"]
    lines += [f"    {reading.claim}"] if reading.claim else []
    return "\n".join(lines + [f"    {text}" for text in run.own((r.code, r.message) for r in reading.reasons)])


def solid_lines(reading: SolidReading, run: SaidOnce) -> str:
    """A solid in words: colour, pale share, then its own reasons, one a line."""
    if reading.lab is None or reading.pale_fraction is None or reading.pale_interval is None:
        head = _("no value")
    else:
        light, a, b = reading.lab
        low, high = reading.pale_interval
        head = f"L* {light:.0f} a* {a:.0f} b* {b:.0f}, "
        head += _(
            "pale share {pale_fraction:.3f} (95 %: {low:.3f} to {high:.3f})",
            pale_fraction=reading.pale_fraction,
            low=low,
            high=high,
        )
    lines = [f"{reading.stamp.photo}: {head}  [{mark(reading.status)}]"]
    return "\n".join(lines + [f"    {text}" for text in run.own((r.code, r.message) for r in reading.reasons)])
