"""One reason as a reading carries it: its code, its severity and the sentence that says what to do."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Literal

Severity = Literal["refuse", "doubt", "note"]
Bound = Literal["at most", "at least"]


@dataclass(frozen=True)
class Reason:
    """One reason: a stable ``code``, its ``severity`` and a ``message`` with the remedy in it.

    What the message says in figures stands beside it, so that nobody takes a sentence apart: ``value`` in ``unit``
    ("" for a plain number), and ``bound`` where the value is only known to be at most or at least that.
    """

    code: str
    severity: Severity
    message: str
    bound: Bound | None = field(default=None, compare=False)  # two reasons are one where they say the same
    value: float | None = field(default=None, compare=False)
    unit: str = field(default="", compare=False)
