"""A reading as a line of text for people."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from service.terminal.once import SaidOnce
from stripread.ph.blank import AgainstBlank
from stripread.ph.combined_reading import CombinedReading
from stripread.ph.difference import TOLERANCE
from stripread.results import Comparison, PhReading, StripReading
from stripread.states.table import mark
from stripread.words import _, number


def ph_line(reading: PhReading, run: SaidOnce | None = None) -> str:
    """One reading in words: value and interval, then the reasons, one a line; in a ``run`` its own ones alone.

    A further strip's reasons follow its value, but for those that the first strip's line says already.
    """
    head = f"{reading.stamp.photo}: "
    if reading.ph is None or reading.interval is None:
        head += _("no value")
    else:
        low, high = reading.interval
        head += _("pH {ph:.2f}  (95 %: {low:.2f} to {high:.2f})", ph=reading.ph, low=low, high=high)
    lines = [f"{head}  [{mark(reading.status)}]"]
    for place, strip in enumerate(reading.strips[1:], 2):
        lines.append(
            _(
                "    strip {number} of {n_strips}: {strip}",
                number=place,
                n_strips=len(reading.strips),
                strip=_strip(strip),
            )
        )
        lines += [f"        {reason.message}" for reason in strip.reasons if reason not in reading.reasons]
    if reading.comparison is not None:
        lines.append(comparison_line(reading.comparison))
    lines += [
        _("    also possible: pH {ph:.1f} (weight {weight:.0%})", ph=a.ph, weight=a.weight)
        for a in reading.alternatives
    ]
    said = [(reason.code, reason.message) for reason in reading.reasons]
    lines += [f"    {text}" for text in (run.own(said) if run is not None else (text for _, text in said))]
    return "\n".join(lines)


def combined_line(combined: CombinedReading) -> str:
    """A combined reading in words."""
    count = sum(part.weight != 0.0 for part in combined.parts)
    what = _("photos of one strip") if combined.same_strip else _("strips")
    stamp = replace(combined.reading.stamp, photo=_("together, {count} {what}", count=count, what=what))
    return ph_line(replace(combined.reading, stamp=stamp))


def blank_line(compared: AgainstBlank) -> str:
    """What the comparison with the rinse water says, in words."""
    d, blank = compared.difference, compared.blank
    if d is None or blank.ph is None:
        return _("    not compared with {photo}: one of the two has no value", photo=blank.stamp.photo)
    side = _("more acid") if d.value < 0 else _("more alkaline")
    low, high = d.interval
    told = _("by more than {tolerance:g}: probability {differs:.0%}", tolerance=TOLERANCE, differs=d.differs)
    head = _("    {apart:.2f} {side} than the rinse water's {ph:.2f}", apart=abs(d.value), side=side, ph=blank.ph)
    return _("{head}  (95 %: {low:+.2f} to {high:+.2f}); {told}", head=head, low=low, high=high, told=told)


def water_line(water: PhReading) -> str:
    """The rinse water's own strip in words, where there is something to say of it; else empty."""
    stamp = replace(water.stamp, photo=_("rinse water, {photo}", photo=water.stamp.photo))
    return ph_line(replace(water, stamp=stamp)) if water.reasons else ""


def comparison_line(compared: Comparison) -> str:
    """How the sample stands to the strip beside it, in words."""
    d, interval = compared.delta_ph, compared.delta_interval
    if d is None or interval is None or compared.same_probability is None or compared.tolerance is None:
        return _("    not compared with {liquid}: one of the two strips has no value", liquid=compared.liquid)
    side = _("more acid") if d < 0 else _("more alkaline")
    told = _(
        "within {tolerance:g} of it: probability {same_probability:.0%}",
        tolerance=compared.tolerance,
        same_probability=compared.same_probability,
    )
    head = _("    {d:.2f} {side} than {liquid} beside it", d=abs(d), side=side, liquid=compared.liquid)
    return _(
        "{head}  (95 %: {interval_0:+.2f} to {interval_1:+.2f}); {told}",
        head=head,
        interval_0=interval[0],
        interval_1=interval[1],
        told=told,
    )


def _strip(strip: StripReading) -> str:
    if strip.ph is None or strip.interval is None:
        return _("no value  [{mark}]", mark=mark(strip.status))
    low, high = strip.interval
    return _(
        "pH {ph:.2f}  (95 %: {low:.2f} to {high:.2f})  [{mark}]",
        ph=strip.ph,
        low=low,
        high=high,
        mark=mark(strip.status),
    )


def ph_table(readings: list[PhReading]) -> str:
    """Readings as a table, one line a photo, with the first reason under those that have one."""
    width = max([len(Path(r.stamp.photo).name) for r in readings] + [5])
    lines = [f"{_('photo'):<{width}}   {'pH':>5}   {_('95 % interval'):<14}  {_('status')}"]
    lines.append("-" * (width + 38))
    for reading in readings:
        name = Path(reading.stamp.photo).name
        if reading.ph is None or reading.interval is None:
            value, interval = "-", "-"
        else:
            value, interval = (
                number(reading.ph, ".2f"),
                _(
                    "{interval_0:.2f} to {interval_1:.2f}",
                    interval_0=reading.interval[0],
                    interval_1=reading.interval[1],
                ),
            )
        lines.append(f"{name:<{width}}   {value:>5}   {interval:<14}  {mark(reading.status)}")
        lines += [f"{'':<{width}}     {reason.message}" for reason in reading.reasons if reason.severity != "note"]
    return "\n".join(lines)
