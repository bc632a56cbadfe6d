"""What can be wrong with a catalogue: sentences missing or left over, places that differ, labels too long."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from string import Formatter

from babel.messages.catalog import Catalog, Message

from tests.catalogues.files import compiled, content, extracted, mo_path, read_po_of

LABEL = 24  # characters up to which an English text is a label: of a button, a box, a column
TITLE = 66  # characters that a title in a picture has room for
LONGER = 1.8  # times as long a label may become
ALLOWANCE = 8  # characters more
# Said beside a value, not on a button: these may grow.
_PRINTF = re.compile(r"%\(\w+\)s")


def faults(language: str) -> list[str]:
    """All that is wrong with a language, in sentences."""
    catalog = read_po_of(language)
    found = [*_missing(catalog), *(fault for message in catalog if message.id for fault in of_message(message))]
    found += list(_titles(catalog))
    if not mo_path(language).exists() or content(mo_path(language).read_bytes()) != content(compiled(language)):
        found.append("the .mo is not that of the .po: python -m tests.catalogues --compile")
    return found


def _missing(catalog: Catalog) -> Iterator[str]:
    wanted = {_key(m) for m in extracted() if m.id}
    there = {_key(m) for m in catalog if m.id}
    yield from (f"not extracted yet: {key!r}" for key in sorted(wanted - there))
    yield from (f"in no source any more: {key!r}" for key in sorted(there - wanted))


def _titles(catalog: Catalog) -> Iterator[str]:
    """A title of a panel has one line: what is longer is cut off."""
    for message in catalog:
        drawn = any(name.startswith("stripread/picture/") for name, _line in message.locations)
        if drawn and isinstance(message.id, str) and "{" not in message.id and len(str(message.string)) > TITLE:
            yield f"a title of a picture became {len(str(message.string))} characters: {message.id!r}"


def _key(message: Message) -> str:
    return message.id if isinstance(message.id, str) else message.id[0]


def of_message(message: Message) -> Iterator[str]:
    """What is wrong with one translation."""
    if message.fuzzy:
        yield f"fuzzy: {message.id!r}"
    if isinstance(message.id, str):
        yield from _of(message.id, message.string)
        return
    one, many = message.id
    for string in message.string:
        yield from _of(many, string, other=one)


def _of(source: str, told: str, other: str | None = None) -> Iterator[str]:
    if not told:
        yield f"no translation: {source!r}"
        return
    held, wanted = places(told), places(source)
    if held != wanted and (other is None or held != places(other)):
        yield f"places {sorted(wanted)} became {sorted(held)}: {source!r}"
    if _edges(source) != _edges(told):
        yield f"spaces at the ends differ: {source!r}"
    if " ({detail})" in source and " ({detail})" not in told:
        yield f"the detail has lost its brackets: {source!r}"
    if is_label(source) and len(told) > LONGER * len(source) + ALLOWANCE:
        yield f"a label of {len(source)} characters became {len(told)}: {source!r}"


def is_label(source: str) -> bool:
    """Whether an English text is a label: short, in one piece, no place to fill."""
    return len(source) <= LABEL and "{" not in source and not source.endswith((".", "?", "!", ":"))


def _edges(text: str) -> tuple[str, str]:
    return text[: len(text) - len(text.lstrip())], text[len(text.rstrip()) :]


def places(text: str) -> Counter[tuple[str, str, str]]:
    """The places of a sentence with their forms, and how often each comes; none in one whose braces are no places."""
    try:
        parts = list(Formatter().parse(text))
    except ValueError:
        return Counter(re.findall(r"\{.*?\}", text))  # type: ignore[arg-type] - compared with its like only
    found = Counter((name, spec or "", conversion or "") for _t, name, spec, conversion in parts if name is not None)
    return found + Counter((place, "", "") for place in _PRINTF.findall(text))
