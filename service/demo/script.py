"""What a made-up batch's script is made of: no real workshop.

The readings themselves are in no script: they come from the shipped photos, by the reader.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

PATH_MM = 30.0
# How the copper checks were made: a strip on the drop, no flakes, 24 drops of ammonia on 8 mL.
ACID: dict[str, str | float] = {"wash": "acid", "ammonia_excess": "yes", "ammonia_ph": 10.0, "flakes": "no"}
ACID["dilution"] = 1.15


@dataclass(frozen=True)
class Shot:
    """One photo: when, of which kind, its file below the demo's folder, the wash; ``blank``: of the rinse water."""

    at: str
    kind: str
    photo: str
    wash: int | None = None
    note: str = ""
    blank: bool = False


@dataclass(frozen=True)
class Written:
    """One thing written down."""

    at: str
    kind: str
    fields: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Onward:
    """One step to another stage, with the reason that a shut gate asks for."""

    at: str
    to: str
    reason: str | None = None
    who: str | None = None


@dataclass(frozen=True)
class Mended:
    """A correction of the reading of ``photo``."""

    at: str
    photo: str
    wash: int
    why: str
    who: str


@dataclass(frozen=True)
class Struck:
    """A note struck out: the first weight."""

    at: str
    why: str
    who: str


Step = Shot | Written | Onward | Mended | Struck


@dataclass(frozen=True)
class Script:
    """One made-up batch: its name, its procedure, when it was opened and closed (UTC), and what was done between."""

    name: str
    procedure: str
    opened: str
    closed: str
    steps: tuple[Step, ...]


def in_time(steps: list[Step]) -> tuple[Step, ...]:
    """Steps in the order of time."""
    return tuple(sorted(steps, key=lambda step: step.at))
