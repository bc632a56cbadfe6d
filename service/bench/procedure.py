"""A procedure as data: stages with what is read, the gate that opens the next one, cautions, what can go wrong."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, ValidationError
from pydantic_core import ErrorDetails

from stripread.errors import CallError
from stripread.user_file import toml_table, user_text
from stripread.words import _

Read = Literal["ph", "tint", "solid", "weight", "note"]
READS: tuple[Read, ...] = ("ph", "tint", "solid", "weight", "note")
NEUTRAL = (6.0, 8.0)  # pH called neutral where a procedure does not say; common practice, no source
SHIPPED = ("chloride_lye_sugar", "copper_cementation")


def _rising(band: tuple[float, float]) -> tuple[float, float]:
    if not -1.0 <= band[0] < band[1] <= 15.0:  # a band without ends would be a gate that is always open
        raise ValueError(_("the first end must be the lower one, both of them from -1 to 15"))
    return band


Positive = Annotated[float, Field(strict=True, gt=0, allow_inf_nan=False)]
Strict = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Text = Annotated[str, Field(strict=True)]
Name = Annotated[str, Field(strict=True, min_length=1)]


class _Table(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class TintNone(_Table):
    """No copper seen ``times`` running, with at most ``ppm`` (mg/kg) hidden in the metal."""

    kind: Literal["tint_none"] = "tint_none"
    times: Positive = 2
    ppm: Positive = 20.0


class PaleBelow(_Table):
    """At most this share of the solid still pale."""

    kind: Literal["pale_below"] = "pale_below"
    share: Positive = 0.01


class PhNeutral(_Table):
    """The pH inside a band, or not different from the rinse water's own."""

    kind: Literal["ph_neutral"] = "ph_neutral"
    band: Annotated[tuple[Strict, Strict], AfterValidator(_rising)] = NEUTRAL


class WeightConstant(_Table):
    """Two weights ``hours`` or more apart that agree within grams or a share of the mass, whichever is more."""

    kind: Literal["weight_constant"] = "weight_constant"
    within_g: Positive = 0.05
    within_share: Positive = 0.001
    hours: Positive = 1.0


class ByHand(_Table):
    """Nothing is measured: a person says when the stage is done."""

    kind: Literal["by_hand"] = "by_hand"


Gate = TintNone | PaleBelow | PhNeutral | WeightConstant | ByHand
GATES: dict[str, type[Gate]] = {
    "tint_none": TintNone,
    "pale_below": PaleBelow,
    "ph_neutral": PhNeutral,
    "weight_constant": WeightConstant,
    "by_hand": ByHand,
}


class Stage(_Table):
    """One stage of a procedure: what to do, what is read, and the gate that opens the next one."""

    id: Name
    title: Name
    do: str = ""
    read: tuple[Read, ...] = ()
    gate: Annotated[Gate, Field(discriminator="kind")] = ByHand()
    cautions: tuple[Text, ...] = ()
    wrong: tuple[Text, ...] = ()
    holds: str = ""  # what is in the batch's vessel now, in words, for its label
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

    def band(self, name: str) -> tuple[float, float]:
        """The pH that counts as neutral in this stage: of its own gate, else of the next pH gate, else of one before.

        The only place that says it: gates, forecast, page and report all ask here.
        """
        place = self.stages.index(self.stage(name))
        for stage in (*self.stages[place:], *reversed(self.stages[:place])):
            if isinstance(stage.gate, PhNeutral):
                return stage.gate.band
        return NEUTRAL


def load_procedure(where: str | Path) -> Procedure:
    """A shipped procedure by its name, or a TOML file.

    Raises
    ------
    CallError
        If it can't be read or is not a procedure; the message names the stage and the key at fault.
    """
    if str(where) in SHIPPED:
        return parse_procedure((files("service.bench") / "procedures" / f"{where}.toml").read_text(encoding="utf-8"))
    path = Path(where)
    try:
        text = user_text(path, "procedure")
    except CallError as problem:
        raise CallError(_("{problem}; shipped ones: {shipped}", problem=problem, shipped=", ".join(SHIPPED))) from None
    return parse_procedure(text)


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
        raise CallError(_("the procedure has no [[stage]]"))
    stages = tuple(_stage(entry, place) for place, entry in enumerate(raw, 1))
    names = [stage.id for stage in stages]
    if len(set(names)) != len(names):
        raise CallError(_("two stages of the procedure have the same id"))
    version = data.get("version", 1)
    if not isinstance(version, int):
        raise CallError(_("the procedure's version must be a whole number"))
    return Procedure(str(data.get("name", "unnamed")), version, stages, text)


def _stage(entry: object, place: int) -> Stage:
    if not isinstance(entry, dict):
        raise CallError(_("stage {place} is not a table", place=place))
    try:
        return Stage.model_validate(entry)
    except ValidationError as problem:
        where = f"stage {entry.get('id', place)!s}"
        raise CallError(f"{where}: {_fault(problem.errors()[0])}") from None


def _fault(error: ErrorDetails) -> str:
    """The first thing wrong with a stage, in words: which key, and what it may be."""
    place, given = [str(part) for part in error["loc"]], error["input"]
    if place[0] == "gate":
        return _gate_fault(error, place, given)
    if error["type"] == "extra_forbidden":
        return _("unknown key {place_0!r}", place_0=place[0])
    if place[0] in ("id", "title"):
        return _("{place_0} is missing", place_0=place[0])
    if error["type"] == "literal_error":
        return _("can't read {given!r}; there are {reads}", given=given, reads=", ".join(READS))
    return _("{place_0} must be a list of texts", place_0=place[0]) if place[0] != "do" else _("do must be a text")


def _gate_fault(error: ErrorDetails, place: list[str], given: object) -> str:
    if len(place) < 3 or place[1] not in GATES:
        return _("the gate's kind must be one of {gates}", gates=", ".join(GATES))
    key = place[2]
    if error["type"] == "extra_forbidden":
        return _("a {place_1} gate has no {key!r}", place_1=place[1], key=key)
    return _("the gate's {key} can't be {given!r}", key=key, given=given)
