"""The demo's windows as a table: one line a photo, with the doubts under those that have one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from stripread.results import SolidReading, TintReading
from stripread.states.table import mark
from stripread.tint.verdicts import CAUTIONS
from stripread.words import _, say


def windows_table(readings: Sequence[TintReading | SolidReading]) -> str:
    """Tints and solids in one table."""
    width = max([len(Path(r.stamp.photo).name) for r in readings] + [5])
    lines = [f"{_('photo'):<{width}}   {_('result'):<44}  {_('status')}", "-" * (width + 57)]
    for reading in readings:
        what = _tint(reading) if isinstance(reading, TintReading) else _solid(reading)
        lines.append(f"{Path(reading.stamp.photo).name:<{width}}   {what:<44}  {mark(reading.status)}")
        lines += [f"{'':<{width}}     {reason.message}" for reason in reading.reasons if reason.severity != "note"]
    cautions = [x for reading in readings for x in reading.reasons if x.code in CAUTIONS]
    if cautions:
        lines += ["", *(f"  ! {text}" for text in dict.fromkeys(reason.message for reason in cautions))]
    return "\n".join(lines)


def _tint(reading: TintReading) -> str:
    if reading.absorbance is None:
        return "-"
    if reading.mg_per_l is None or reading.interval is None:
        return reading.decision
    low, high = reading.interval
    return _(
        "{decision}: {mg_per_l:.1f} mg/L ({low:.1f} to {high:.1f})",
        decision=say(reading.decision),
        mg_per_l=reading.mg_per_l,
        low=low,
        high=high,
    )


def _solid(reading: SolidReading) -> str:
    if reading.pale_fraction is None or reading.pale_interval is None:
        return "-"
    low, high = (100 * end for end in reading.pale_interval)
    return _(
        "pale share {pale_fraction:.1f} % ({low:.1f} to {high:.1f} %)",
        pale_fraction=100 * reading.pale_fraction,
        low=low,
        high=high,
    )
