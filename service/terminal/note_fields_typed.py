"""A note's fields as typed on the command line: FIELD=VALUE."""

from __future__ import annotations

from typing import Any

from stripread.errors import CallError


def field_typed(text: str) -> tuple[str, Any]:
    """`grams=2 lb`, `moisture=0.2-0.4`, `acid=no`, `metals=silver,copper` as a field's name and value.

    Raises
    ------
    CallError
        If it is no FIELD=VALUE of a note.
    """
    from service.bench.note_forms import form_of

    name, equals, value = text.partition("=")
    form = form_of(name)
    if not equals or form is None:
        raise CallError(f"give FIELD=VALUE, not {text!r}")
    if form == "flag":
        return name, value.lower() in ("1", "yes", "true")
    # Numbers stay as typed: they are read where the note is checked.
    return name, [v.strip() for v in value.split(",")] if form == "words" else value
