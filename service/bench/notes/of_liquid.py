"""Notes about liquids: what was poured off, what was used, what stays in the batch's own vessel."""

from __future__ import annotations

from dataclasses import replace
from typing import Annotated, Literal

from service.bench.chemistry.balance import Decant
from service.bench.note_fields import Asked, Bounds, Count, Flag, Number, Text, VesselName, Word
from service.bench.notes.content import GRAMS, LITRES, Content


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
    vessel: Annotated[VesselName, Asked("Out of which vessel (empty: the batch's)", longest=60)] | None = None
    into: Annotated[VesselName, Asked("Into which vessel (empty: the stock vessel)", longest=60)] | None = None
    despite: Annotated[Text, Asked("Poured already, in spite of a stop: what happened", longest=500)] | None = None

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
