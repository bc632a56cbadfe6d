"""Notes about the stock vessel: what was poured in, its pH, its dangers dealt with, its hand-over."""

from __future__ import annotations

from typing import Annotated, Literal

from service.bench.note_fields import Asked, Bounds, Count, Flag, Number, Pair, Text, Texts, VesselName, Word
from service.bench.notes.content import LITRES, PH, Content


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
    vessel: Annotated[VesselName, Asked("Out of which vessel, if it has a name", longest=60)] | None = None


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
    silver: (
        Annotated[
            Literal["left in", "brought down", "none"],
            Word,
            Asked(
                "Its silver",
                options=(
                    ("", "as the log has it"),
                    ("left in", "still in it"),
                    ("brought down", "brought down before"),
                    ("none", "there was none"),
                ),
                value="",
            ),
        ]
        | None
    ) = None
