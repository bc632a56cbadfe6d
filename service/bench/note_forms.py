"""How a form asks for each kind of note: derived from the notes' own models, for the page and the command line."""

from __future__ import annotations

import re
from typing import Literal, get_args

from pydantic import BaseModel
from pydantic.fields import FieldInfo

from service.bench.note_fields import VESSEL, Asked, Units
from service.bench.notes import CONTENTS, Content
from stripread.words import _, number, say

_HINT = re.compile(r"\s*\([^()]*\)")  # of a label: how to fill it in
Form = Literal["text", "number", "range", "choice", "flag", "words"]


class FieldForm(BaseModel):
    """One field of a form.

    ``form``: "text"; "number", with ``units`` an amount with its unit; "range" of two numbers, typed in ``parts`` to
    one; "choice" of ``options`` (value, words); "flag" to tick or choose; "words" parted by commas. What stands at
    ``value`` is filled in at first; with ``omit`` a choice that stays at it is left out of the note. ``only_if``
    (field, value): left out otherwise. ``unticked``: a tick that is not set is said as well. ``vessel``:
    the name of one, which a photo of its label may give.
    """

    name: str
    label: str
    form: Form
    required: bool
    units: Units | None = None
    unit: str | None = None
    parts: int = 1
    options: list[tuple[str, str]] = []
    value: str | None = None
    omit: bool = False
    only_if: tuple[str, str] | None = None
    unticked: bool = False
    whole: bool = False
    longest: int | None = None
    vessel: bool = False


class NoteForm(BaseModel):
    """How one kind of note is asked for."""

    kind: str
    label: str
    fields: list[FieldForm]


def note_forms() -> list[NoteForm]:
    """Every kind that a form may ask for, in the order in which they are offered."""
    return [
        NoteForm(kind=content.kind, label=say(content.label), fields=_fields(content))
        for content in CONTENTS
        if content.label is not None
    ]


def as_asked(content: Content) -> str:
    """A note in the words of its form: each field given with its label (without hints), a choice as its words."""
    given, parts = content.fields(), []
    for field in _fields(type(content)):
        if (value := given.get(field.name)) is not None:
            label = _HINT.sub("", field.label)
            parts.append(f"{label}: {dict(field.options).get(str(value), _plain(field, value))}")
    return "; ".join(parts)


def _plain(field: FieldForm, value: object) -> str:
    """A value as it was asked for: a range in its parts, an amount with its unit."""
    if isinstance(value, list):
        ends = [number(end * field.parts, "g") for end in dict.fromkeys(value)]
        return "-".join(ends)
    if isinstance(value, bool):
        return _("yes") if value else _("no")
    shown = number(value, "g") if isinstance(value, float) else str(value)
    unit = {"mass": "g", "volume": "L", "time": "h", "warmth": "°C", "small volume": "mL"}.get(field.units or "")
    return f"{shown} {unit}" if unit else shown


def form_of(name: str) -> Form | None:
    """The form of a field of this name, in whatever kind of note; None where there is none."""
    found = [content.model_fields[name] for content in CONTENTS if name in content.model_fields]
    return _form(found[0]) if found else None


def _fields(content: type[Content]) -> list[FieldForm]:
    found = []
    for name, info in sorted(content.model_fields.items(), key=lambda field: field[0] in content.asked_last):
        asked = next((part for part in _parts(info) if isinstance(part, Asked)), None)
        if asked is None:
            continue
        found.append(
            FieldForm(
                name=name,
                label=say(asked.label),
                form=_form(info),
                required=info.is_required(),
                units=asked.units,
                unit=asked.unit,
                parts=asked.parts,
                options=[(value, say(words)) for value, words in asked.options],
                value=asked.value,
                omit=bool(asked.options) and not info.is_required() and asked.value in ("", _as_option(info.default)),
                only_if=asked.only_if,
                unticked=asked.unticked,
                whole=asked.whole,
                longest=asked.longest,
                vessel=VESSEL in _parts(info),
            )
        )
    return found


def _as_option(default: object) -> str:
    """A field's default as the value of an option; what a note leaves out counts as this."""
    return str(default).lower() if isinstance(default, bool) else str(default)


def _parts(info: FieldInfo) -> list[object]:
    """A field's types and what is annotated to them, the inner ones of a union included."""
    found: list[object] = [*info.metadata]
    left: list[object] = [info.annotation]
    while left:
        part = left.pop()
        found.append(part)
        left += [*get_args(part), *getattr(part, "__metadata__", ())]
    return found


def _form(info: FieldInfo) -> Form:
    parts = _parts(info)
    if tuple[float, float] in parts:
        return "range"
    if tuple[str, ...] in parts:
        return "words"
    if bool in parts:
        return "flag"
    if any(isinstance(part, Asked) and part.options for part in parts):
        return "choice"
    return "number" if float in parts or int in parts else "text"
