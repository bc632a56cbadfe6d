"""All kinds of notes, and the one door through which what they hold comes: for command line, API and old logs alike."""

from __future__ import annotations

from typing import get_args

from pydantic import ValidationError
from pydantic_core import ErrorDetails

from service.bench.note_fields import IN_LOG
from service.bench.notes.content import Content
from service.bench.notes.of_liquid import BatchVessel, DecantNote, ReagentUsed
from service.bench.notes.of_log import Amended, ChosenProcedure, Move, Strike
from service.bench.notes.of_melt import BarNote, MeltNote
from service.bench.notes.of_solid import AcidRinse, AmmoniaTest, MetalCheck, NamedTest, Weight
from service.bench.notes.of_stock import Emptying, MadeSafe, Pouring, VesselReading
from service.bench.notes.of_test import VialsAcidified
from service.bench.notes.of_vessels import MOVES
from service.bench.quantities import WrongQuantity
from stripread.errors import CallError
from stripread.words import _, say

CONTENTS: tuple[type[Content], ...] = (
    ChosenProcedure,
    Move,
    Weight,
    DecantNote,
    ReagentUsed,
    BatchVessel,
    AmmoniaTest,
    VialsAcidified,
    AcidRinse,
    MetalCheck,
    NamedTest,
    MeltNote,
    BarNote,
    Pouring,
    VesselReading,
    Emptying,
    MadeSafe,
    *MOVES,
    Strike,
    Amended,
)
KINDS: dict[str, type[Content]] = {content.kind: content for content in CONTENTS}


def checked(kind: str, data: dict[str, object], *, in_log: bool = False) -> Content:
    """A note's content, known and within its bounds; None fields are left out.

    ``in_log``: it stands in the log already, so that rules that came later do not count.

    Raises
    ------
    CallError
        Naming the field at fault; a ``WrongQuantity`` where a quantity must be typed otherwise.
    """
    if kind not in KINDS:
        raise CallError(_("no such note: {kind}; there are {kinds}", kind=kind, kinds=", ".join(KINDS)))
    model = KINDS[kind]
    given = {name: value for name, value in data.items() if value is not None}
    try:
        return model.model_validate(given, context=IN_LOG if in_log else None)
    except ValidationError as problem:
        unknown_first = sorted(problem.errors(), key=lambda e: e["type"] != "extra_forbidden")
        raise _fault(model, unknown_first[0]) from None


def _fault(model: type[Content], error: ErrorDetails) -> CallError:
    if not error["loc"]:  # of the note as a whole
        return CallError(f"{say(model.label or model.kind)}:{error['ctx']['error']}")
    name = str(error["loc"][0])
    where = _("the {kind}'s {name}", kind=model.kind, name=name)
    if error["type"] == "extra_forbidden":
        return CallError(_("a {kind} has no field {name!r}", kind=model.kind, name=name))
    if error["type"] == "missing":
        return CallError(_("a {kind} needs {name}", kind=model.kind, name=name))
    if error["type"] == "literal_error":
        return CallError(
            _(
                "{where} is {model}, not {input!r}",
                where=where,
                model=", ".join(words_of(model, name)),
                input=error["input"],
            )
        )
    problem = error["ctx"]["error"]
    return problem.at(where) if isinstance(problem, WrongQuantity) else CallError(f"{where}{problem}")


def words_of(model: type[Content], name: str) -> tuple[str, ...]:
    """The words that a field may be; none where it takes others."""
    parts = [model.model_fields[name].annotation]
    while parts:
        part = parts.pop()
        if all(isinstance(arg, str) for arg in get_args(part)) and get_args(part):
            return get_args(part)
        parts += get_args(part)
    return ()
