"""Control strips: photos of strips in known liquids, read with a profile and kept over time, with limits.

A control chart in the sense of W. A. Shewhart: each error in its own standard deviations, warning limits at two and
action limits at three of them (common practice; the rule names are from memory). Both the reading's doubt and that of
the liquid's pH are in the standard deviation.
"""

from __future__ import annotations

import json
from dataclasses import dataclass
from math import hypot
from typing import Any, Literal

from sqlalchemy import Connection, insert, select

from service.log.calibrations.kept import keep_photo
from service.log.models import now, profile_checks
from stripread.json_line import json_line

Row = dict[str, Any]
WARNING, ACTION = 2.0, 3.0  # standard deviations
Z95 = 1.959964  # half a 95 % interval in standard deviations
Where = Literal["within", "warning", "action", "unread"]


@dataclass(frozen=True)
class NewControl:
    """A control photo that was read: its liquid with pH and sd, the reading's JSON, the check up to it."""

    sha256: str
    size: int
    file: str
    liquid: str
    ph: float
    ph_sd: float
    reading: Row
    found: Row


def add_control(c: Connection, version: int, new: NewControl) -> Row:
    """Keep a control; the row as it is now."""
    keep_photo(c, new.sha256, new.size)
    values = {
        "version_id": version,
        "photo_sha256": new.sha256,
        "file": new.file,
        "liquid": new.liquid,
        "ph": new.ph,
        "ph_sd": new.ph_sd,
        "reading": json_line(new.reading),
        "found": json_line(new.found),
        "at": now(),
    }
    number = int(c.execute(insert(profile_checks).values(**values).returning(profile_checks.c.id)).scalar_one())
    return {"id": number, **values, "reading": new.reading, "found": new.found}


def controls_of(c: Connection, version: int) -> list[Row]:
    """The controls of a profile's version, oldest first."""
    query = select(profile_checks).where(profile_checks.c.version_id == version).order_by(profile_checks.c.id)
    return [
        {**row, "reading": json.loads(row["reading"]), "found": json.loads(row["found"])}
        for row in c.execute(query).mappings()
    ]


def stands(ph: float, ph_sd: float, reading: Row) -> tuple[float | None, float | None, Where]:
    """A control's error in pH, the same in its standard deviations, and where that lies on the chart."""
    value, interval = reading.get("ph"), reading.get("interval")
    if value is None or interval is None:
        return None, None, "unread"
    error = value - ph
    # The side of the interval towards the truth: a lopsided interval says how far off it may be there.
    half = max(interval[1] - value if error < 0 else value - interval[0], 0.01)
    deviations = error / hypot(half / Z95, ph_sd)
    where: Where = "within" if abs(deviations) < WARNING else "warning" if abs(deviations) < ACTION else "action"
    return error, deviations, where
