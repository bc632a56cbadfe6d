"""One row of the table of reasons, and how it is judged."""

from collections.abc import Callable, Iterable
from dataclasses import dataclass

from stripread.errors import Refused
from stripread.reasons import Reason
from stripread.results import Status, status_of

Given = Callable[[], Iterable[Reason]]


@dataclass(frozen=True)
class Row:
    """A reason's code, the limit in words, what comes just inside it and just outside, with the status of each.

    inside is None for a reason that goes with every reading.
    """

    code: str
    limit: str
    inside: Given | None
    outside: Given
    status: Status
    status_inside: Status = "ok"


def reasons_of(given: Given) -> tuple[Reason, ...]:
    """What the stage finds; a refusal is the one reason that it gives."""
    try:
        return tuple(given())
    except Refused as refused:
        return (refused.reason,)


def status(reasons: Iterable[Reason]) -> Status:
    return status_of(tuple(reasons))
