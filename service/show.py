"""A reading as a line of text for people."""

from __future__ import annotations

from stripread.results import PhReading

_MARK = {"ok": "ok", "doubtful": "doubtful", "refused": "REFUSED"}


def ph_line(reading: PhReading) -> str:
    """One reading in words: value and interval, then the reasons, one a line."""
    head = f"{reading.stamp.photo}: "
    if reading.ph is None or reading.interval is None:
        head += "no value"
    else:
        low, high = reading.interval
        head += f"pH {reading.ph:.2f}  (95 %: {low:.2f} to {high:.2f})"
    lines = [f"{head}  [{_MARK[reading.status]}]"]
    lines += [f"    also possible: pH {a.ph:.1f} (weight {a.weight:.0%})" for a in reading.alternatives]
    lines += [f"    {reason.message}" for reason in reading.reasons]
    return "\n".join(lines)
