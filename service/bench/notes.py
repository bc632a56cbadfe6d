"""What a person writes down at the bench beside the photos: weights, decants, reagents, what went to the stock vessel.

Each kind of note is one model: it checks what is given, is the note's JSON in the log, describes it to the API, and
says how the page's form asks for it. ``checked`` is the only door, for the command line, the API and old logs alike.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Annotated, Any, ClassVar, Literal, Self, TypeVar, get_args

from pydantic import BaseModel, ConfigDict, ModelWrapValidatorHandler, PrivateAttr, ValidationError, model_validator
from pydantic_core import ErrorDetails

from service.bench.chemistry.balance import Decant
from service.bench.note_fields import IN_LOG, Asked, Bounds, Count, Flag, Number, Pair, Text, Texts, Word
from service.bench.procedure import parse_procedure
from service.bench.quantities import WrongQuantity, step_typed
from service.bench.question import Question
from stripread.errors import CallError
from stripread.words import _

PH = Bounds(-1, 15)
C = TypeVar("C", bound="Content")
GRAMS, LITRES = Bounds(0, 1e6), Bounds(0, 1e4)


class Content(BaseModel):
    """What a note of one kind holds. ``label`` is how a form calls it; without one no form asks for it."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    kind: ClassVar[str]
    label: ClassVar[str | None] = None
    _given: tuple[str, ...] = PrivateAttr(())

    @model_validator(mode="wrap")
    @classmethod
    def _keep_order(cls, data: object, handler: ModelWrapValidatorHandler[Self]) -> Self:
        if isinstance(data, dict):
            data = cls.completed(data)
        made = handler(data)
        if isinstance(data, dict):
            made._given = tuple(data)
        return made

    @classmethod
    def completed(cls, data: dict[str, Any]) -> dict[str, Any]:
        """What was given, with what the way it was typed says beside it."""
        return data

    def fields(self) -> dict[str, object]:
        """The fields that were given, JSON-ready, in the order in which they came."""
        found = self.model_dump(mode="json", include=self.model_fields_set)
        return {name: found[name] for name in self._given or found}


class ChosenProcedure(Content):
    """The procedure of the batch, as the text of its file.

    Where it takes the place of another: the stage of it in which the batch is then (``to``), why, and who says so.
    """

    kind = "procedure"
    text: Text
    to: Text | None = None
    reason: Text | None = None
    who: Text | None = None

    @model_validator(mode="after")
    def _parses(self) -> Self:
        found = parse_procedure(self.text)
        if self.to is not None:
            found.stage(self.to)
        return self


class Move(Content):
    """On to another stage: what the gate said, and the reason where it went against it."""

    kind = "move"
    to: Text
    state: Text
    sentence: Text
    reason: Text | None = None
    who: Text | None = None


class Weight(Content):
    """Something weighed. ``replaces`` is the number of the note of the same thing whose place it takes.

    ``step_g`` is one step of the scale's last digit; of a drying metal the digits that were typed tell it.
    """

    kind = "weight"
    label = "A weight"
    of: Annotated[
        Literal["chloride", "input", "powder", "silver"],
        Word,
        Asked(
            "Of what",
            options=(
                ("chloride", "chloride"),
                ("input", "metal at the start"),
                ("powder", "powder"),
                ("silver", "silver"),
            ),
            value="chloride",
        ),
    ]
    grams: Annotated[Number, GRAMS, Asked("Mass", units="mass")]
    again: (
        Annotated[
            Literal["replaces", "adds"],
            Word,
            Asked(
                "If this was weighed before",
                options=(("", "it was not"), ("replaces", "this replaces it"), ("adds", "this is another lot")),
                value="",
            ),
        ]
        | None
    ) = None
    replaces: Annotated[Count, Bounds(1, 1e12)] | None = None
    scale_g: Annotated[Number, Bounds(0, 1e4), Asked("The scale is right to ±", units="mass", unit="g")] | None = None
    step_g: Annotated[Number, Bounds(0, 1e4), Asked("One step of the scale", units="mass", unit="g")] | None = None
    moisture: (
        Annotated[
            Pair,
            Bounds(0, 0.99),
            Asked("Water in wet chloride, % (drained: often 20 to 50)", parts=100, only_if=("of", "chloride")),
        ]
        | None
    ) = None
    fineness: (
        Annotated[
            Pair,
            Bounds(0, 1),
            Asked("Fineness of the metal at the start, ‰ (as 925)", parts=1000, only_if=("of", "input")),
        ]
        | None
    ) = None

    @classmethod
    def completed(cls, data: dict[str, Any]) -> dict[str, Any]:
        """With the step of the scale, where the metal's mass was typed and nobody said how far the scale is right."""
        typed, said = data.get("grams"), {"scale_g", "step_g"} & data.keys()
        if data.get("of") not in ("powder", "silver") or not isinstance(typed, str) or said:
            return data
        step = step_typed(typed)
        return data if step is None else {**data, "step_g": step}


class DecantNote(Content):
    """A liquid poured off. ``wash`` is the number of the wash that it ends, where ``name`` does not say "wash 3"."""

    kind = "decant"
    label = "A decant"
    name: Annotated[Text, Asked("Which (as wash 3)")]
    litres: Annotated[Number, LITRES, Asked("How much", units="volume")]
    settled_h: Annotated[Number, Bounds(0, 1e4), Asked("It had settled for", units="time")] | None = None
    looks: (
        Annotated[
            Literal["clear", "hazy", "cloudy", "milky"],
            Word,
            Asked(
                "It looked",
                options=(
                    ("", "didn't look"),
                    ("clear", "clear"),
                    ("hazy", "hazy"),
                    ("cloudy", "cloudy"),
                    ("milky", "milky"),
                ),
                value="",
            ),
        ]
        | None
    ) = None
    temp_c: Annotated[Number, Bounds(0, 100), Asked("Temperature", units="warmth")] | None = None
    acid: Annotated[
        Flag,
        Asked("The liquid was", options=(("true", "acid or plain water"), ("false", "salt or lye")), value="true"),
    ] = True
    chloride: Annotated[Number, Bounds(0, 12), Asked("Chloride in it, mol/L, if known")] | None = None
    solid: Annotated[
        Literal["chloride", "oxide", "metal"],
        Word,
        Asked(
            "Over",
            options=(("chloride", "chloride"), ("oxide", "black oxide"), ("metal", "metal")),
            value="chloride",
        ),
    ] = "chloride"
    wash: Annotated[Count, Bounds(0, 999)] | None = None

    @property
    def wash_number(self) -> int | None:
        """The wash that it ends: as given, else by a name that says wash and one number ("wash 3")."""
        if self.wash is not None:
            return self.wash
        words = self.name.lower().replace("#", " ").split()
        numbers = [word for word in words if word.isascii() and word.isdigit()]
        return int(numbers[0]) if "wash" in words and len(numbers) == 1 else None


class ReagentUsed(Content):
    """A reagent used."""

    kind = "used"
    label = "A reagent used"
    what: Annotated[Text, Asked("What")]
    grams: Annotated[Number, GRAMS, Asked("Mass", units="mass")] | None = None
    litres: Annotated[Number, LITRES, Asked("or volume", units="volume")] | None = None


class BatchVessel(Content):
    """The vessel of the batch: what stays in it, and what the solid touched."""

    kind = "vessel"
    label = "The batch's vessel"
    retained_l: Annotated[Number, Bounds(0, 1e3), Asked("Liquid that stays with the solid", units="volume")] | None = (
        None
    )
    papers: Annotated[Number, Bounds(0, 1e3), Asked("Filter papers used", whole=True)] | None = None
    glasses: Annotated[Number, Bounds(0, 1e3), Asked("Glasses and beakers used", whole=True)] | None = None


class AmmoniaTest(Content):
    """A copper check with ammonia: how much of how strong, and whether it touched the solid."""

    kind = "ammonia_test"
    label = "A test with ammonia"
    ml: Annotated[Number, Bounds(0, 1e3), Asked("Ammonia and liquid together", units="small volume")]
    mol_l: Annotated[Number, Bounds(0, 15), Asked("Ammonia in it, mol/L")]
    on_solid: Annotated[Flag, Asked("It touched the solid", unticked=True)] = False


class AcidRinse(Content):
    """A rinse with acid over powder that may hold oxide."""

    kind = "acid_rinse"
    label = "A rinse with acid"
    acid_mol: Annotated[Number, Bounds(0, 1e3), Asked("Hydrochloric acid in it, mol")]
    oxide_silver_g: Annotated[Number, GRAMS, Asked("Silver that was still oxide, at most", units="mass")]


class MetalCheck(Content):
    """A look for grains of an added metal that are left in the solid: by eye, by fresh acid, by a magnet."""

    kind = "metal_check"
    label = "A look for metal that is left"
    grains: Annotated[
        Literal["no", "yes", "unsure"],
        Word,
        Asked(
            "Grains of it, the solid stirred and spread",
            options=(("no", "none seen"), ("yes", "seen"), ("unsure", "not sure")),
            value="unsure",
        ),
    ]
    bubbles: (
        Annotated[
            Literal["no", "yes", "unsure"],
            Word,
            Asked(
                "Bubbles in fresh dilute acid, stirred",
                options=(("", "not tried"), ("no", "none"), ("yes", "it bubbles"), ("unsure", "not sure")),
                value="",
            ),
        ]
        | None
    ) = None
    magnet: (
        Annotated[
            Literal["no", "yes"],
            Word,
            Asked(
                "A magnet held to the vessel",
                options=(("", "not tried"), ("no", "draws nothing"), ("yes", "draws grains")),
                value="",
            ),
        ]
        | None
    ) = None


class NamedTest(Content):
    """A test by its name, as "chloride", and whether it found something."""

    kind = "named_test"
    label = "A test by its name"
    name: Annotated[Text, Asked("Which test (as the stage calls it)", longest=100)]
    found: Annotated[
        Literal["no", "yes", "unsure"],
        Word,
        Asked("It found", options=(("no", "nothing"), ("yes", "something"), ("unsure", "not sure")), value="unsure"),
    ]
    wash: Annotated[Count, Bounds(0, 999), Asked("Of wash number", whole=True)] | None = None


class Pouring(Content):
    """Something poured into the stock vessel."""

    kind = "poured"
    label = "Poured into the stock vessel"
    what: Annotated[Text, Asked("What")]
    litres: Annotated[Number, LITRES, Asked("How much", units="volume")]
    ph: Annotated[Number, PH, Asked("pH, if read")] | None = None
    interval: Annotated[Pair, PH, Asked("and the reading's interval")] | None = None
    mol: (
        Annotated[Number, Bounds(-1e4, 1e4), Asked("or mol in it, if known", units="acid or lye", unit="acid")] | None
    ) = None
    metals: Annotated[Texts, Asked("Metals in it (as silver, copper)")] = ()
    contents: Annotated[Texts, Asked("What else is in it (as salt, sugar, nitrate, bleach)")] = ()
    ammonia: Annotated[Flag, Asked("Ammonia in it")] = False
    despite: Annotated[Text, Asked("Poured already, in spite of a stop: what happened", longest=500)] | None = None


class VesselReading(Content):
    """The pH of the whole stock vessel, stirred and read: it takes the place of all worked out before."""

    kind = "mixed"
    label = "The stock vessel's pH, stirred and read"
    ph: Annotated[Number, PH, Asked("pH")]
    interval: Annotated[Pair, PH, Asked("and the reading's interval")] | None = None
    litres: Annotated[Number, LITRES, Asked("It holds (empty: what went in)", units="volume")] | None = None


class MadeSafe(Content):
    """What was done about a danger that a pouring made or a reading showed; until then the danger stays shown."""

    kind = "made_safe"
    label = "A danger was dealt with"
    note: Annotated[Count, Bounds(1, 1e12), Asked("The number of the note that it comes from")]
    what: Annotated[Text, Asked("What was done", longest=500)]
    who: Annotated[Text, Asked("Who", longest=100)] | None = None


class Emptying(Content):
    """The stock vessel was handed over."""

    kind = "emptied"
    label = "The stock vessel was handed over"
    what: Annotated[Text, Asked("To whom, and how much")]


class Strike(Content):
    """Another note is withdrawn: it counts no more, and stays in the log. A strike struck out puts back."""

    kind = "strike"
    label = "Strike something out"
    note: Annotated[Count, Bounds(1, 1e12), Asked("Which")]
    why: Annotated[Text, Asked("Why", longest=500)]
    who: Annotated[Text, Asked("Who", longest=100)] | None = None


class Amended(Content):
    """Another note is corrected: from now on it says this, at its own place and time. Struck out, it never was."""

    kind = "amended"
    note: Annotated[Count, Bounds(1, 1e12)]
    data: dict[str, Any]
    why: Text
    who: Text | None = None


CONTENTS: tuple[type[Content], ...] = (
    ChosenProcedure,
    Move,
    Weight,
    DecantNote,
    ReagentUsed,
    BatchVessel,
    AmmoniaTest,
    AcidRinse,
    MetalCheck,
    NamedTest,
    Pouring,
    VesselReading,
    Emptying,
    MadeSafe,
    Strike,
    Amended,
)
KINDS: dict[str, type[Content]] = {content.kind: content for content in CONTENTS}


@dataclass(frozen=True)
class Note:
    """One note: what it holds, when it was written (ISO time), and its number in the log.

    ``who`` wrote it, where that was said; ``asked`` what has to be answered before it counts.
    """

    content: Content
    at: str
    id: int = 0
    who: str | None = None
    asked: Question | None = None

    @property
    def kind(self) -> str:
        """A key of ``KINDS``."""
        return self.content.kind


def contents(notes: list[Note], kind: type[C]) -> list[C]:
    """What the notes of one kind hold, in their order."""
    return [note.content for note in notes if isinstance(note.content, kind)]


def withdrawals(notes: list[Note]) -> dict[int, Strike]:
    """Number of a withdrawn note -> what says so. Nothing is deleted; a strike that was struck out says nothing."""
    found: dict[int, Strike] = {}
    for note in reversed(notes):
        if isinstance(note.content, Strike) and note.id not in found:
            found[note.content.note] = note.content
    return found


def amendments(notes: list[Note]) -> dict[int, list[Note]]:
    """Number of a corrected note -> its corrections that count, oldest first."""
    out, found = withdrawals(notes), dict[int, list[Note]]()
    for note in notes:
        if isinstance(note.content, Amended) and note.id not in out:
            found.setdefault(note.content.note, []).append(note)
    return found


def as_corrected(notes: list[Note]) -> list[Note]:
    """All notes, each with what its newest correction says, at its own place and time; withdrawn ones too."""
    changed = amendments(notes)
    return [_amended(note, changed[note.id][-1]) if note.id in changed else note for note in notes]


def _amended(note: Note, last: Note) -> Note:
    assert isinstance(last.content, Amended)
    return replace(note, content=checked(note.kind, last.content.data, in_log=True), asked=last.asked)


def in_force(notes: list[Note]) -> list[Note]:
    """The notes that count, as last corrected: those that were not withdrawn and wait for no answer."""
    out = withdrawals(notes)
    return [
        note
        for note in as_corrected(notes)
        if note.id not in out and note.asked is None and not isinstance(note.content, Amended)
    ]


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


def decant_of(content: DecantNote, chloride: tuple[float, float] | None = None) -> Decant:
    """The decant of a note; ``chloride`` (mol/L, of the wash's own pH reading) where the note does not say."""
    found = content.chloride if content.chloride is not None else chloride
    plain = Decant(
        content.name,
        content.litres,
        settled_h=content.settled_h,
        looks=content.looks,
        acid=content.acid,
        solid=content.solid,
    )
    return replace(
        plain,
        chloride=plain.chloride if found is None else found,
        temp_c=plain.temp_c if content.temp_c is None else content.temp_c,
    )
