"""Notes about vessels: named, what they hold, poured, filtered, evaporated, spilt, weighed, handed over."""

from __future__ import annotations

from typing import Annotated, Literal, Self

from pydantic import model_validator

from service.bench.note_fields import Asked, Bounds, Count, Flag, Number, Pair, Text, Texts, VesselName, Word
from service.bench.notes.content import GRAMS, LITRES, PH, Content
from stripread.words import _

STOCK, MAIN = "stock", "main"  # names that a vessel has without a note
BATCH = Bounds(1, 1e12)
_LONG = {"longest": 60}


def same_vessel(name: str) -> str:
    """A vessel's name as it is compared: "Big  Pot" is "big pot"."""
    return " ".join(name.split()).casefold()


class NamedVessel(Content):
    """A vessel by its name: what it is for, and its empty weight. Named again, the newer note counts."""

    kind = "named_vessel"
    label = "A vessel and its name"
    vessel: Annotated[VesselName, Asked("Its name, as it stands on it", **_LONG)]
    what_for: Annotated[
        Literal["main", "buffer", "stock", "paper", "crucible", "slag", "other"],
        Word,
        Asked(
            "What it is for",
            options=(
                ("main", "the batch itself"),
                ("buffer", "catches fines that go back"),
                ("stock", "waste with silver in it"),
                ("paper", "a filter paper"),
                ("crucible", "a crucible"),
                ("slag", "slag"),
                ("other", "something else"),
            ),
            value="buffer",
        ),
    ] = "other"
    tare_g: Annotated[Number, GRAMS, Asked("Its weight when empty and dry", units="mass")] | None = None


class Mixture(Content):
    """What a note says of a liquid: acid or lye, and what else is in it."""

    asked_last = frozenset({"ph", "interval", "mol", "metals", "contents", "ammonia", "despite"})
    ph: Annotated[Number, PH, Asked("pH, if read")] | None = None
    interval: Annotated[Pair, PH, Asked("and the reading's interval")] | None = None
    mol: (
        Annotated[Number, Bounds(-1e4, 1e4), Asked("or mol in it, if known", units="acid or lye", unit="acid")] | None
    ) = None
    metals: Annotated[Texts, Asked("Metals in it (as silver, copper)")] = ()
    contents: Annotated[Texts, Asked("What else is in it (as salt, sugar, nitrate, bleach)")] = ()
    ammonia: Annotated[Flag, Asked("Ammonia in it")] = False
    despite: Annotated[Text, Asked("Poured already, in spite of a stop: what happened", longest=500)] | None = None

    @property
    def described(self) -> bool:
        """Whether it says anything of the liquid."""
        return bool({"ph", "mol", "metals", "contents", "ammonia"} & self.model_fields_set)


class VesselHolds(Mixture):
    """What a vessel holds, as somebody found it: it takes the place of what was worked out for its liquid before."""

    kind = "vessel_holds"
    label = "What a vessel holds"
    vessel: Annotated[VesselName, Asked("Which vessel", **_LONG)]
    litres: Annotated[Number, LITRES, Asked("How much liquid", units="volume")] | None = None
    silver: Annotated[Pair, GRAMS, Asked("Silver that was in it from before, g, from and to")] | None = None


class Moved(Mixture):
    """Something that went from one vessel to another. The other may be a vessel of another batch, by its number."""

    kind = "moved"
    label = "From one vessel to another"
    how: Annotated[
        Literal["pour", "rinse back", "split", "merge"],
        Word,
        Asked(
            "How",
            options=(
                ("pour", "poured"),
                ("rinse back", "rinsed back, with what had settled"),
                ("split", "a part of it split off, stirred"),
                ("merge", "all of it put to another lot"),
            ),
            value="pour",
        ),
    ]
    vessel: Annotated[VesselName, Asked("Out of which vessel", **_LONG)] = MAIN
    from_batch: Annotated[Count, BATCH, Asked("of batch number (empty: this one)", whole=True)] | None = None
    into: Annotated[VesselName, Asked("Into which vessel", **_LONG)] = MAIN
    into_batch: Annotated[Count, BATCH, Asked("of batch number (empty: this one)", whole=True)] | None = None
    litres: Annotated[Number, LITRES, Asked("How much (empty: all of it)", units="volume")] | None = None
    share: Annotated[Pair, Bounds(0, 1), Asked("or which share of it, %", parts=100)] | None = None
    solid: (
        Annotated[
            Literal["stirred", "settled"],
            Word,
            Asked(
                "The solid in it",
                options=(("", "as the way says"), ("stirred", "was stirred up"), ("settled", "stayed behind, settled")),
                value="",
            ),
        ]
        | None
    ) = None

    @model_validator(mode="after")
    def _between_two(self) -> Self:
        if (same_vessel(self.vessel), self.from_batch) == (same_vessel(self.into), self.into_batch):
            raise ValueError(_(" it can't go into the vessel that it comes out of"))
        if self.how == "split" and self.share is None and self.litres is None:
            raise ValueError(_(" say how much or which share of it was split off"))
        return self


class Filtered(Mixture):
    """A liquid through a paper: the solid stays on it, what is dissolved goes on."""

    kind = "filtered"
    label = "Filtered"
    vessel: Annotated[VesselName, Asked("Out of which vessel", **_LONG)] = MAIN
    paper: Annotated[VesselName, Asked("The paper's name, as it stands on its bag", **_LONG)]
    into: Annotated[VesselName, Asked("The clear liquid went into which vessel", **_LONG)]
    share: Annotated[Pair, Bounds(0, 1), Asked("Which share of it, % (empty: all)", parts=100)] | None = None


class Evaporated(Content):
    """A vessel's liquid boiled or stood down: the silver stays."""

    kind = "evaporated"
    label = "Evaporated"
    vessel: Annotated[VesselName, Asked("Which vessel", **_LONG)]
    left_l: Annotated[Number, LITRES, Asked("Liquid that is left", units="volume")]


class Spilled(Content):
    """What was spilt out of a vessel, as far as somebody can say; ``mopped`` is where it was wiped or swept into."""

    kind = "spilled"
    label = "Spilt"
    vessel: Annotated[VesselName, Asked("Out of which vessel", **_LONG)] = MAIN
    share: Annotated[Pair, Bounds(0, 1), Asked("About which share of it, % (5 to 10)", parts=100)]
    mopped: Annotated[VesselName, Asked("Wiped or swept up into (empty: it is lost)", **_LONG)] | None = None
    what: Annotated[Text, Asked("What happened", longest=500)] | None = None


class VesselWeighed(Content):
    """A vessel weighed with its silver in it, dried, drained or under no liquid: what the ledger is held against."""

    kind = "vessel_weighed"
    label = "A vessel weighed with what is in it"
    vessel: Annotated[VesselName, Asked("Which vessel", **_LONG)]
    grams: Annotated[Number, GRAMS, Asked("Mass", units="mass")]
    net: Annotated[Flag, Asked("Its empty weight is taken off already", unticked=True)] = False
    form: Annotated[
        Literal["chloride", "oxide", "metal"],
        Word,
        Asked(
            "The silver in it is",
            options=(("chloride", "chloride"), ("oxide", "black oxide"), ("metal", "metal")),
            value="chloride",
        ),
    ] = "chloride"
    moisture: Annotated[Pair, Bounds(0, 0.99), Asked("Water in it, % (dry: 0 to 1)", parts=100)] | None = None
    scale_g: Annotated[Number, Bounds(0, 1e4), Asked("The scale is right to ±", units="mass", unit="g")] | None = None


class SilverDown(Content):
    """The silver of the stock vessel was brought down; a drop of salt water in the clear liquid says whether all was.

    Until such a note with a drop that stays clear the vessel counts as holding silver.
    """

    kind = "silver_down"
    label = "Silver of the stock vessel brought down"
    by: Annotated[
        Literal["chloride", "copper", "zinc", "iron"],
        Word,
        Asked(
            "How",
            options=(
                ("chloride", "as chloride, with salt or hydrochloric acid"),
                ("copper", "on copper"),
                ("zinc", "on zinc"),
                ("iron", "on iron"),
            ),
            value="chloride",
        ),
    ]
    drop: Annotated[
        Literal["clear", "cloudy", "not tried"],
        Word,
        Asked(
            "A drop of salt water in the clear liquid",
            options=(("clear", "stays clear"), ("cloudy", "turns cloudy"), ("not tried", "not tried")),
            value="not tried",
        ),
    ]
    left: Annotated[Pair, Bounds(0, 1e5), Asked("Silver left by a reading or assay, mg/L, from and to")] | None = None
    kept: Annotated[Text, Asked("Where the solid is kept", longest=100)] | None = None


class HandedOver(Content):
    """A vessel by its name left the bench, with all that was in it. The stock vessel has a note of its own."""

    kind = "handed_over"
    label = "A vessel handed over"
    vessel: Annotated[VesselName, Asked("Which vessel", **_LONG)]
    what: Annotated[Text, Asked("To whom, and how much")]


MOVES: tuple[type[Content], ...] = (
    NamedVessel,
    VesselHolds,
    Moved,
    Filtered,
    Evaporated,
    Spilled,
    VesselWeighed,
    SilverDown,
    HandedOver,
)
