"""Which language is spoken at the moment: of a call on the command line, of a request, of a thread."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from contextvars import ContextVar

SOURCE = "en"  # the language of the sentences in the code
LANGUAGES = ("en", "de", "es")  # those with every sentence; each but the first has its folder in ``locale``
NAMES = {"en": "English", "de": "Deutsch", "es": "Español"}  # as their speakers call them

# A context's own, so that one process answers several languages at once; a new process speaks English until told.
_spoken: ContextVar[str] = ContextVar("spoken", default=SOURCE)


def spoken() -> str:
    """The language spoken here and now, one of ``LANGUAGES``."""
    return _spoken.get()


def speak(language: str) -> None:
    """Speak ``language`` from now on: for a process that serves one call and was told by the one that started it."""
    _spoken.set(language if language in LANGUAGES else SOURCE)


@contextmanager
def speaking(language: str) -> Iterator[None]:
    """Speak ``language`` within the ``with``.

    Raises
    ------
    ValueError
        If it is none of ``LANGUAGES``.
    """
    if language not in LANGUAGES:
        raise ValueError(f"no such language: {language!r}; there are {', '.join(LANGUAGES)}")
    before = _spoken.set(language)
    try:
        yield
    finally:
        _spoken.reset(before)
