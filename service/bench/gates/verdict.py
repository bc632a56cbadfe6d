"""What a gate answers: open, hold or cannot tell, and why, in one sentence."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

State = Literal["open", "hold", "cannot tell"]


@dataclass(frozen=True)
class Verdict:
    """Whether the next stage is open, and why; what to do next where it is not."""

    state: State
    sentence: str
