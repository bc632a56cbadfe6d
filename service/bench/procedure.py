"""A procedure as data: stages with what is read, the gate that opens the next one, cautions, what can go wrong."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, ValidationError

from service.bench.stages.faults import stage_fault, unknown_key, write_so
from service.bench.stages.gate_kinds import NEUTRAL, ByHand, Gate, Name, PhNeutral, Table, Text, Timed, parts_of
from stripread.errors import CallError
from stripread.user_file import toml_table, user_text
from stripread.words import _

Read = Literal["ph", "tint", "solid", "weight", "note"]
READS: tuple[Read, ...] = ("ph", "tint", "solid", "weight", "note")
# What a gate is judged by, beside notes.
NEEDS: dict[str, Read] = {
    "tint_none": "tint",
    "pale_below": "solid",
    "ph_neutral": "ph",
    "weight_constant": "weight",
    "metal_gone": "note",
    "test_none": "note",
    "no_oxide": "solid",
}
SHIPPED = ("chloride_lye_sugar", "chloride_iron", "chloride_zinc", "copper_cementation")
EARLIER = ("chloride_lye_sugar_1",)  # as they were once: logs keep them, nobody chooses them anew
HEAD = ("name", "version", "stage")  # keys of the file itself


class Stage(Table):
    """One stage of a procedure: what to do, what is read, and the gate that opens the next one."""

    id: Name
    title: Name
    do: str = ""
    read: tuple[Read, ...] = ()
    gate: Annotated[Gate, Field(discriminator="kind")] = ByHand()
    cautions: tuple[Text, ...] = ()
    wrong: tuple[Text, ...] = ()
    holds: str = ""  # what is in the batch's vessel now, in words, for its label
    optional: Annotated[bool, Field(strict=True)] = False  # an open gate before it may lead past it
    contents: tuple[Text, ...] = ()  # the same in the words of substances.toml, for what the label warns of


@dataclass(frozen=True)
class Procedure:
    """Stages in their order. ``text`` is the file as it was read: the log keeps it with the batch."""

    name: str
    version: int
    stages: tuple[Stage, ...]
    text: str

    def stage(self, name: str) -> Stage:
        """The stage with this id.

        Raises
        ------
        CallError
            If there is none.
        """
        for stage in self.stages:
            if stage.id == name:
                return stage
        raise CallError(
            _(
                "no stage {name!r} in this procedure; there are {stages}",
                name=name,
                stages=", ".join(s.id for s in self.stages),
            )
        )

    def after(self, name: str) -> Stage | None:
        """The stage after this one; None after the last."""
        place = self.stages.index(self.stage(name)) + 1
        return self.stages[place] if place < len(self.stages) else None

    def past(self, name: str) -> Stage | None:
        """The stage that an open gate may lead to past optional ones; None where the next one is not optional.

        What was begun is not left out any more: from an optional stage it goes on to the next one alone.
        """
        place = self.stages.index(self.stage(name)) + 1
        after = self.stages[place:]
        if self.stage(name).optional:
            return None
        found = next((stage for stage in after if not stage.optional), None)
        return None if not after or found is after[0] else found

    def band(self, name: str) -> tuple[float, float]:
        """The pH that counts as neutral in this stage: of its own gate, else of the next pH gate, else of one before.

        The only place that says it: gates, forecast, page and report all ask here.
        """
        place = self.stages.index(self.stage(name))
        for stage in (*self.stages[place:], *reversed(self.stages[:place])):
            for gate in parts_of(stage.gate):
                if isinstance(gate, PhNeutral):
                    return gate.band
        return NEUTRAL


def load_procedure(where: str | Path) -> Procedure:
    """A shipped procedure by its name, or a TOML file, which is held to more than one that a log kept.

    Raises
    ------
    CallError
        If it can't be read or is not a procedure; the message names the file, the stage, the key and what to write.
    """
    if str(where) in SHIPPED:
        return _in_house(str(where))
    path = Path(where)
    try:
        text = user_text(path, "procedure")
    except CallError as problem:
        raise CallError(_("{problem}; shipped ones: {shipped}", problem=problem, shipped=", ".join(SHIPPED))) from None
    try:
        return own_procedure(text)
    except CallError as problem:
        raise CallError(f"{path.name}: {problem}") from None


def earlier_procedure(name: str) -> Procedure:
    """One of ``EARLIER``."""
    assert name in EARLIER
    return _in_house(name)


def _in_house(name: str) -> Procedure:
    return parse_procedure((files("service.bench") / "procedures" / f"{name}.toml").read_text(encoding="utf-8"))


def shipped(name: str) -> str:
    """``name``, if a procedure of that name is shipped.

    Raises
    ------
    CallError
        If none is.
    """
    if name not in SHIPPED:
        raise CallError(
            _("there is no procedure {name!r}; shipped ones: {shipped}", name=name, shipped=", ".join(SHIPPED))
        )
    return name


def own_procedure(text: str) -> Procedure:
    """A procedure that somebody writes now, held to more than one that a log kept.

    Raises
    ------
    CallError
        As ``load_procedure``.
    """
    found = parse_procedure(text)
    _check_own(found, toml_table(text, _("the procedure"), _("valid TOML")))
    return found


@lru_cache(maxsize=64)
def parse_procedure(text: str) -> Procedure:
    """A procedure from the text of its file.

    Raises
    ------
    CallError
        As ``load_procedure``.
    """
    data = toml_table(text, _("the procedure"), _("valid TOML"))
    raw = data.get("stage")
    if not isinstance(raw, list) or not raw:
        raise CallError(
            _("the procedure has no [[stage]]") + _("; write [[stage]] above each stage's id, title and gate")
        )
    stages = tuple(_stage(entry, place) for place, entry in enumerate(raw, 1))
    names = [stage.id for stage in stages]
    for name in names:
        if names.count(name) > 1:
            raise CallError(
                _("two stages of the procedure have the same id {name!r}: give each one of its own", name=name)
            )
    version = data.get("version", 1)
    if not isinstance(version, int) or isinstance(version, bool):
        raise CallError(write_so(_("the procedure's version must be a whole number"), "version"))
    found = Procedure(str(data.get("name", "unnamed")), version, stages, text)
    _check_waiting(found)
    return found


def _check_waiting(found: Procedure) -> None:
    """No gate counts its time from a stage that is not there, or that can only begin once the gate is open."""
    names = [stage.id for stage in found.stages]
    for place, stage in enumerate(found.stages):
        for since in (g.stage for g in parts_of(stage.gate) if isinstance(g, Timed) and g.stage is not None):
            if since not in names:
                fault = _("the gate counts from the stage {since!r}, which is not there", since=since)
                known = _("; there are {keys}", keys=", ".join(names))
                raise CallError(_at(stage.id, fault + known))
            if names.index(since) > place:
                fault = _("the gate waits for {since!r}, which begins only after this stage: a loop", since=since)
                raise CallError(_at(stage.id, fault + _("; name this stage or one before it")))


def _check_own(found: Procedure, data: dict[str, object]) -> None:
    """What a file must have beyond what a log's older text may lack: known keys, a name, readings for its gates."""
    for key in data:
        if key not in HEAD:
            raise CallError(unknown_key(key, HEAD))
    if not isinstance(data.get("name", ""), str):
        raise CallError(write_so(_("the procedure's name must be a text"), "name"))
    for stage in found.stages:
        for gate in parts_of(stage.gate):
            wanted = NEEDS.get(gate.kind)
            if stage.read and wanted is not None and wanted not in stage.read:
                fault = _("a {kind} gate is judged by {wanted!r}, which `read` lacks", kind=gate.kind, wanted=wanted)
                listed = ", ".join(f'"{name}"' for name in (*stage.read, wanted))
                raise CallError(
                    _at(stage.id, _("{fault}; write for example {example}", fault=fault, example=f"read = [{listed}]"))
                )
            if isinstance(gate, Timed) and gate.stage is not None and gate.note is not None:
                raise CallError(_at(stage.id, _("a timed gate counts from a stage or from a note, not from both")))
            if isinstance(gate, Timed) and gate.what and gate.note is None:
                raise CallError(_at(stage.id, write_so(_("a timed gate with `what` needs the kind of note"), "note")))


def _at(stage: str, fault: str) -> str:
    return f"stage {stage}: {fault}"


def _stage(entry: object, place: int) -> Stage:
    if not isinstance(entry, dict):
        raise CallError(_("stage {place} is not a table", place=place))
    try:
        return Stage.model_validate(entry)
    except ValidationError as problem:
        fault = stage_fault(problem.errors()[0], Stage.model_fields, READS)
        raise CallError(_at(str(entry.get("id", place)), fault)) from None
