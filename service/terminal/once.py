"""What goes for every photo of a run is said once, at its end: a caution that is read twenty times is read no more."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager

from stripread.reasons import REASONS
from stripread.words import _

CAUTION = "caution_"  # how the codes of cautions begin
# Notes on the call or the camera, not on what this one photo shows.
_OF_THE_RUN = {"path_unknown", "default_response", "no_photo_time"}
_AFTER = REASONS["fits_description"][1].partition("{detail}")[2]  # that it is no identification


class SaidOnce:
    """Holds back what photos of one run share, and says it once."""

    def __init__(self) -> None:
        self.photos = 0
        self._notes: Counter[str] = Counter()
        self._cautions: dict[str, None] = {}

    def own(self, reasons: Iterable[tuple[str, str]]) -> list[str]:
        """Of one photo's reasons, as (code, message), the messages that are its own; the rest waits for the end."""
        self.photos += 1
        lines = []
        for code, message in reasons:
            if code.startswith(CAUTION):
                self._cautions[message] = None
            elif code in _OF_THE_RUN:
                self._notes[message] += 1
            elif code == "fits_description" and message.endswith(_AFTER):
                lines.append(message.removesuffix(_AFTER))
                self._cautions[_AFTER.lstrip(". ")] = None
            else:
                lines.append(message)
        return lines

    def at_end(self) -> list[str]:
        """What was held back: notes, with how many photos they go for where it is not all, then cautions, each once."""
        notes = [
            text
            if times == self.photos
            else _("{text} ({times} of {photos} photos)", text=text, times=times, photos=self.photos)
            for text, times in self._notes.items()
        ]
        return notes + [f"! {text}" for text in self._cautions]


@contextmanager
def said_once(tell: Callable[[str], None]) -> Iterator[SaidOnce]:
    """A run: what it held back is told at its end, also where the run breaks off."""
    run = SaidOnce()
    try:
        yield run
    finally:
        for line in run.at_end():
            tell(line)
