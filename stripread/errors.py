"""Two ways to stop: the call itself was wrong, or the photo can't be read.

Raise ``CallError`` when the caller must change the call (a missing file, a broken profile): exit code 2, one line.
Raise ``Refused`` when a photo is at fault: the pipeline catches it once and turns it into a refused reading.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from stripread.reasons import Reason


LONGEST_WORD = 300  # characters of a message without a space: a path may be that long, a value pasted by mistake longer


class CallError(Exception):
    """The call was wrong; the message names what to change, on one line. Exit code 2."""

    exit_code = 2

    def __init__(self, message: str) -> None:
        shortened = re.sub(rf"(\S{{{LONGEST_WORD}}})\S+", r"\1…", message)
        super().__init__(" ".join(shortened.splitlines()))


class Refused(Exception):  # noqa: N818 - a verdict on the photo, not an error of the program
    """This photo can't be read; ``reason`` says why and what to do.

    Parameters
    ----------
    reason
        One registered reason (see ``stripread.reasons``) of severity ``refuse``.
    """

    def __init__(self, reason: Reason) -> None:
        super().__init__(reason.message)
        self.reason = reason
