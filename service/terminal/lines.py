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


def ph_line(reading: PhReading, run: SaidOnce | None = None) -> str:
    """One reading in words: value and interval, then the reasons, one a line; in a ``run`` its own ones alone.

    A further strip's reasons follow its value, but for those that the first strip's line says already.
    """
    head = f"{reading.stamp.photo}: "
    if reading.ph is None or reading.interval is None:
        head += "no value"
    else:
        low, high = reading.interval
        head += f"pH {reading.ph:.2f}  (95 %: {low:.2f} to {high:.2f})"
    lines = [f"{head}  [{mark(reading.status)}]"]
    for number, strip in enumerate(reading.strips[1:], 2):
        lines.append(f"    strip {number} of {len(reading.strips)}: {_strip(strip)}")
        lines += [f"        {reason.message}" for reason in strip.reasons if reason not in reading.reasons]
    if reading.comparison is not None:
        lines.append(comparison_line(reading.comparison))
    lines += [f"    also possible: pH {a.ph:.1f} (weight {a.weight:.0%})" for a in reading.alternatives]
    said = [(reason.code, reason.message) for reason in reading.reasons]
    lines += [f"    {text}" for text in (run.own(said) if run is not None else (text for _, text in said))]
    return "\n".join(lines)


def combined_line(combined: CombinedReading) -> str:
    """A combined reading in words."""
    count = sum(part.weight != 0.0 for part in combined.parts)
    what = "photos of one strip" if combined.same_strip else "strips"
    stamp = replace(combined.reading.stamp, photo=f"together, {count} {what}")
    return ph_line(replace(combined.reading, stamp=stamp))


def blank_line(compared: AgainstBlank) -> str:
    """What the comparison with the rinse water says, in words."""
    d, blank = compared.difference, compared.blank
    if d is None or blank.ph is None:
        return f"    not compared with {blank.stamp.photo}: one of the two has no value"
    side = "more acid" if d.value < 0 else "more alkaline"
    low, high = d.interval
    told = f"by more than {TOLERANCE:g}: probability {d.differs:.0%}"
    head = f"    {abs(d.value):.2f} {side} than the rinse water's {blank.ph:.2f}"
    return f"{head}  (95 %: {low:+.2f} to {high:+.2f}); {told}"


def water_line(water: PhReading) -> str:
    """The rinse water's own strip in words, where there is something to say of it; else empty."""
    stamp = replace(water.stamp, photo=f"rinse water, {water.stamp.photo}")
    return ph_line(replace(water, stamp=stamp)) if water.reasons else ""


def comparison_line(compared: Comparison) -> str:
    """How the sample stands to the strip beside it, in words."""
    d, interval = compared.delta_ph, compared.delta_interval
    if d is None or interval is None or compared.same_probability is None or compared.tolerance is None:
        return f"    not compared with {compared.liquid}: one of the two strips has no value"
    side = "more acid" if d < 0 else "more alkaline"
    told = f"within {compared.tolerance:g} of it: probability {compared.same_probability:.0%}"
    head = f"    {abs(d):.2f} {side} than {compared.liquid} beside it"
    return f"{head}  (95 %: {interval[0]:+.2f} to {interval[1]:+.2f}); {told}"


def _strip(strip: StripReading) -> str:
    if strip.ph is None or strip.interval is None:
        return f"no value  [{mark(strip.status)}]"
    low, high = strip.interval
    return f"pH {strip.ph:.2f}  (95 %: {low:.2f} to {high:.2f})  [{mark(strip.status)}]"


def ph_table(readings: list[PhReading]) -> str:
    """Readings as a table, one line a photo, with the first reason under those that have one."""
    width = max([len(Path(r.stamp.photo).name) for r in readings] + [5])
    lines = [f"{'photo':<{width}}   {'pH':>5}   {'95 % interval':<14}  status"]
    lines.append("-" * (width + 38))
    for reading in readings:
        name = Path(reading.stamp.photo).name
        if reading.ph is None or reading.interval is None:
            value, interval = "-", "-"
        else:
            value, interval = f"{reading.ph:.2f}", f"{reading.interval[0]:.2f} to {reading.interval[1]:.2f}"
        lines.append(f"{name:<{width}}   {value:>5}   {interval:<14}  {mark(reading.status)}")
        lines += [f"{'':<{width}}     {reason.message}" for reason in reading.reasons if reason.severity != "note"]
    return "\n".join(lines)
