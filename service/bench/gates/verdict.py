"""What a gate answers: open, hold or cannot tell, and why, in one sentence."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Literal

State = Literal["open", "hold", "cannot tell"]


@dataclass(frozen=True)
class Verdict:
    """Whether the next stage is open, and why; what to do next where it is not."""

    state: State
    sentence: str


def apart_running(seen: Sequence[tuple[str, bool]], hours: float) -> int:
    """How many of the last ones were clean running, each ``hours`` or more after the one counted before it.

    ``seen``: when (ISO time), and whether it was clean, in the order of time; one that was not ends the run.
    """
    run: list[datetime] = []
    for at, clean in seen:
        if not clean:
            run = []
        elif not run or (datetime.fromisoformat(at) - run[-1]).total_seconds() >= 3600.0 * hours:
            run.append(datetime.fromisoformat(at))
    return len(run)


def names(text: str, words: Sequence[str]) -> bool:
    """Whether a text names one of these words, whatever its case; a word of up to two letters only by itself."""
    parts = text.casefold().replace(",", " ").split()
    return any(w.casefold() in (parts if len(w) <= 2 else text.casefold()) for w in words)
