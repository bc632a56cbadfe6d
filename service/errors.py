"""What may go wrong at the bench computer, by whose fault it is; nothing here knows HTTP.

Which class to raise: ``NotFound`` where what was named is not there; ``Conflict`` where it is there and does not go
with what was asked; ``WrongStatement`` where what was said can't be; ``PhotoProblem`` where the photo is at fault and
would be again; ``BenchBusy`` where trying again helps; ``DiskFull`` where somebody must make room first. The commands
print the sentence; ``service.web.problems`` maps the class to its status.
"""

from __future__ import annotations

from stripread.errors import CallError


class StandsAgainst(CallError):  # noqa: N818 - what it is, in the house's words
    """The batch stands otherwise than what was asked needs: its gate is not open, it is closed."""


class ServiceError(Exception):
    """Stop what was asked.

    Parameters
    ----------
    code
        Stable short name.
    detail
        What happened and what to do, in a sentence.
    retry_after
        Seconds after which trying again makes sense.
    """

    def __init__(self, code: str, detail: str, retry_after: int | None = None) -> None:
        super().__init__(detail)
        self.code = code
        self.detail = detail
        self.retry_after = retry_after


class NotFound(ServiceError):  # noqa: N818 - what it is, in the house's words
    """There is no such batch or reading."""


class Conflict(ServiceError):  # noqa: N818
    """The log or the bench computer stands otherwise: a closed batch, no profile, a blank that is none."""


class WrongStatement(ServiceError):  # noqa: N818
    """What was said beside a photo or of an entry can't be, or changes nothing."""


class PhotoProblem(ServiceError):  # noqa: N818
    """This photo's own fault: sent again it would only meet it again."""


class BenchBusy(ServiceError):  # noqa: N818
    """The bench computer can't now; the photo is kept by who sent it, and may be sent again."""


class DiskFull(ServiceError):  # noqa: N818
    """The log can't take more; the photo is kept by who sent it."""
