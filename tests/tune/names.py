"""Which numbers have a command, by name."""

from __future__ import annotations

from pathlib import Path
from typing import Any

from stripread.tuned import TunedNumber, tuned
from tests.tune import (
    blanks,
    cards,
    dye_doubts,
    fading,
    greys,
    heaps,
    known_phones,
    laid,
    live,
    lots,
    pairs,
    prints,
    profiles,
    rendered,
    strangers,
    unused_strips,
)
from tests.tune.engine import Tuning

ROOT = Path(__file__).resolve().parents[2]
TUNINGS: dict[str, Tuning[Any]] = {
    **dye_doubts.TUNINGS,
    **cards.TUNINGS,
    **fading.TUNINGS,
    **profiles.TUNINGS,
    **known_phones.TUNINGS,
    **pairs.TUNINGS,
    **lots.TUNINGS,
    **heaps.TUNINGS,
    **greys.TUNINGS,
    **blanks.TUNINGS,
    **laid.TUNINGS,
    **rendered.TUNINGS,
    **prints.TUNINGS,
    **unused_strips.TUNINGS,
    **live.TUNINGS,
    **strangers.TUNINGS,
}
# Half of them are fitted on. What takes seconds a setup has fewer by default, so that a run takes minutes.
SLOW = (
    *profiles.TUNINGS,
    *known_phones.TUNINGS,
    *pairs.TUNINGS,
    *laid.TUNINGS,
    *rendered.TUNINGS,
    *unused_strips.TUNINGS,
    *live.TUNINGS,
    *strangers.TUNINGS,
)
SETUPS = {**dict.fromkeys(TUNINGS, 40), **dict.fromkeys(SLOW, 12), "typical": 10, "other_card": 10, "dyes_off": 10}


def command(name: str) -> str:
    """What an entry of a ``tuned.toml`` says under ``command``."""
    return f"python -m tests.tune {name}"


def packages() -> list[str]:
    """Packages that have chosen numbers, by dotted name."""
    files = (path for top in ("stripread", "calibration", "service") for path in (ROOT / top).rglob("tuned.toml"))
    return sorted(".".join(path.parent.relative_to(ROOT).parts) for path in files)


def entries() -> dict[str, TunedNumber]:
    """All chosen numbers by name."""
    return {name: entry for package in packages() for name, entry in tuned(package).entries.items()}
