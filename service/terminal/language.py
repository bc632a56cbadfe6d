"""The language of a call on the command line: by ``--language``, else by the environment."""

from __future__ import annotations

import gettext
import os
from collections.abc import Iterator
from contextlib import contextmanager

from stripread.errors import CallError
from stripread.words import LANGUAGES, SOURCE, _, speaking
from stripread.words.say import DOMAIN, FOLDER
from stripread.words.wanted import by_name, from_environment

OPTION = "--language"


def asked_for(argv: list[str]) -> tuple[str, list[str]]:
    """The language of a call, and its arguments without ``--language``, which may stand anywhere before ``--``.

    Raises
    ------
    CallError
        Where it names none that is spoken here, or nothing.
    """
    language, rest, left = from_environment(os.environ), [], list(argv)
    while left:
        word = left.pop(0)
        if word == "--":
            rest += [word, *left]
            break
        name, sign, value = word.partition("=")
        if name != OPTION:
            rest.append(word)
            continue
        wanted = value if sign else (left.pop(0) if left else "")
        found = by_name(wanted)
        if found is None:
            with speaking(language):
                raise CallError(
                    _("--language is one of {known}, not {wanted!r}", known=", ".join(LANGUAGES), wanted=wanted)
                )
        language = found
    return language, rest


@contextmanager
def speaking_on_terminal(language: str) -> Iterator[None]:
    """Speak ``language``: here, in what the library of the command line says, and in processes started here."""
    if language == SOURCE and not os.environ.get("LANGUAGE"):
        with speaking(language):
            yield
        return
    before, domain = os.environ.get("LANGUAGE"), gettext.textdomain()
    gettext.bindtextdomain(DOMAIN, FOLDER)
    gettext.textdomain(DOMAIN)
    os.environ["LANGUAGE"] = language
    try:
        with speaking(language):
            yield
    finally:
        gettext.textdomain(domain)
        if before is None:
            del os.environ["LANGUAGE"]
        else:
            os.environ["LANGUAGE"] = before
