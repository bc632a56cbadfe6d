"""What a person writes down at the bench beside the photos: weights, decants, reagents, what went to the stock vessel.

A note is a kind and a table of fields; ``checked`` is the only door, for the command line, the API and old logs alike.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from service.bench.balance import TURBIDITY, Decant
from service.bench.procedure import parse_procedure
from service.bench.quantities import WrongQuantity, typed_number, typed_range, within
from service.bench.waste import Poured
from stripread.errors import CallError

WEIGHED = ("chloride", "input", "powder", "silver")
NUMBER, TEXT, FLAG, PAIR, TEXTS = "number", "text", "flag", "pair", "texts"

# kind -> field -> (type, least, most, required); numbers in the unit that the field's name ends in.
FIELDS: dict[str, dict[str, tuple[str, float, float, bool]]] = {
    "procedure": {"text": (TEXT, 0, 0, True)},
    "move": {
        "to": (TEXT, 0, 0, True),
        "state": (TEXT, 0, 0, True),
        "sentence": (TEXT, 0, 0, True),
        "reason": (TEXT, 0, 0, False),
        "who": (TEXT, 0, 0, False),
    },
    "weight": {
        "grams": (NUMBER, 0, 1e6, True),
        "of": (TEXT, 0, 0, True),
        "scale_g": (NUMBER, 0, 1e4, False),
        "moisture": (PAIR, 0, 0.99, False),
        "fineness": (PAIR, 0, 1, False),
    },
    "decant": {
        "name": (TEXT, 0, 0, True),
        "litres": (NUMBER, 0, 1e4, True),
        "chloride": (NUMBER, 0, 12, False),
        "temp_c": (NUMBER, 0, 100, False),
        "settled_h": (NUMBER, 0, 1e4, False),
        "looks": (TEXT, 0, 0, False),
        "acid": (FLAG, 0, 0, False),
        "solid": (TEXT, 0, 0, False),
    },
    "used": {"what": (TEXT, 0, 0, True), "grams": (NUMBER, 0, 1e6, False), "litres": (NUMBER, 0, 1e4, False)},
    "poured": {
        "what": (TEXT, 0, 0, True),
        "litres": (NUMBER, 0, 1e4, True),
        "ph": (NUMBER, -1, 15, False),
        "interval": (PAIR, -1, 15, False),
        "mol": (NUMBER, -1e4, 1e4, False),
        "metals": (TEXTS, 0, 0, False),
        "ammonia": (FLAG, 0, 0, False),
    },
    "ammonia_test": {"ml": (NUMBER, 0, 1e3, True), "mol_l": (NUMBER, 0, 15, True), "on_solid": (FLAG, 0, 0, False)},
    "acid_rinse": {"acid_mol": (NUMBER, 0, 1e3, True), "oxide_silver_g": (NUMBER, 0, 1e6, True)},
    "mixed": {"ph": (NUMBER, -1, 15, True), "interval": (PAIR, -1, 15, False), "litres": (NUMBER, 0, 1e4, False)},
    "emptied": {"what": (TEXT, 0, 0, True)},  # the stock vessel was handed over
    "strike": {"note": (NUMBER, 1, 1e12, True), "why": (TEXT, 0, 0, True), "who": (TEXT, 0, 0, False)},
    "vessel": {
        "retained_l": (NUMBER, 0, 1e3, False),
        "papers": (NUMBER, 0, 1e3, False),
        "glasses": (NUMBER, 0, 1e3, False),
    },
}


@dataclass(frozen=True)
class Note:
    """One note: its kind of FIELDS, when (ISO time), its fields as ``checked`` left them, and its number in the log."""

    kind: str
    at: str
    data: dict[str, Any]
    id: int = 0


def struck(notes: list[Note]) -> dict[int, Note]:
    """Number of a note that was struck out -> the note that says why. Nothing is ever deleted."""
    return {int(n.data["note"]): n for n in notes if n.kind == "strike"}


def checked(kind: str, data: dict[str, Any]) -> dict[str, Any]:
    """The note's fields, known and within their bounds; None fields are dropped.

    Numbers and pairs may come as text with a unit, "1 lb" or "25-30 %": kept is the number in the field's own unit.

    Raises
    ------
    CallError
        Naming the field at fault.
    """
    if kind not in FIELDS:
        raise CallError(f"no such note: {kind}; there are {', '.join(FIELDS)}")
    known = FIELDS[kind]
    given = {k: v for k, v in data.items() if v is not None}
    for name in given:
        if name not in known:
            raise CallError(f"a {kind} has no field {name!r}")
    for name, (_, _, _, required) in known.items():
        if required and name not in given:
            raise CallError(f"a {kind} needs {name}")
    clean = {name: _field(kind, name, value) for name, value in given.items()}
    _words(kind, clean)
    return clean


def _field(kind: str, name: str, value: object) -> Any:  # noqa: ANN401 - as the rule says
    form, least, most, _ = FIELDS[kind][name]
    where = f"{kind}'s {name}"
    if isinstance(value, str) and form in (NUMBER, PAIR):
        try:
            value = typed_number(name, value) if form == NUMBER else typed_range(value)
        except WrongQuantity as problem:
            raise problem.at(f"the {where}") from None
    if form == NUMBER:
        number = _number(where, value, least, most)
        try:
            return within(name, number)
        except WrongQuantity as problem:
            raise problem.at(f"the {where}") from None
    if form == FLAG and isinstance(value, bool):
        return value
    if form == TEXT and isinstance(value, str) and value.strip() and len(value) <= 20000:
        return value.strip()
    if form == TEXTS and isinstance(value, list | tuple) and all(isinstance(v, str) and len(v) < 100 for v in value):
        return list(value)
    if form == PAIR and isinstance(value, list | tuple) and len(value) == 2:
        return sorted(_number(where, v, least, most) for v in value)
    raise CallError(f"the {where} can't be {value!r}")


def _number(where: str, value: object, least: float, most: float) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise CallError(f"the {where} must be a number, not {value!r}")
    if not least <= value <= most:
        raise CallError(f"the {where} must lie between {least:g} and {most:g}, not {value:g}")
    return float(value)


def _words(kind: str, clean: dict[str, Any]) -> None:
    """Fields that take one of a few words."""
    choices = {
        ("weight", "of"): WEIGHED,
        ("decant", "looks"): tuple(TURBIDITY),
        ("decant", "solid"): ("chloride", "metal"),
    }
    for (owner, name), words in choices.items():
        if kind == owner and name in clean and clean[name] not in words:
            raise CallError(f"the {kind}'s {name} is {', '.join(words)}, not {clean[name]!r}")
    if kind == "procedure":
        parse_procedure(clean["text"])


def decant_of(note: Note, chloride: float | None = None) -> Decant:
    """The decant of a note; ``chloride`` (mol/L, of the wash's own pH reading) where the note does not say."""
    data = dict(note.data)
    if "chloride" not in data and chloride is not None:
        data["chloride"] = chloride
    return Decant(**data)


def vessel_of(notes: list[Note]) -> list[Poured]:
    """What the stock vessel holds by its notes, in their order; other kinds of notes are passed over.

    The pH read of the stirred vessel ("mixed") takes the place of all that was worked out before.
    """
    held: list[Poured] = []
    for note in notes:
        if note.kind == "poured":
            held.append(poured_of(note))
        elif note.kind == "mixed":
            data = {"litres": sum(p.litres for p in held), **note.data}
            interval = data.get("interval")
            metals = tuple(dict.fromkeys(m for p in held for m in p.metals))
            read = Poured(
                "the vessel as read",
                data["litres"],
                data["ph"],
                None if interval is None else (interval[0], interval[1]),
                metals=metals,
                ammonia=any(p.ammonia for p in held),
            )
            held = [read]
    return held


def poured_of(note: Note) -> Poured:
    """What a note says went into the stock vessel."""
    data = dict(note.data)
    if "interval" in data:
        data["interval"] = (data["interval"][0], data["interval"][1])
    return Poured(**{**data, "metals": tuple(data.get("metals", ()))})
