"""Notes about melting: what went into the crucible and what came out, bar by bar."""

from __future__ import annotations

from typing import Annotated, Literal

from service.bench.note_fields import Asked, Bounds, Number, Pair, Text, Word
from service.bench.notes.content import GRAMS, Content


class MeltNote(Content):
    """A melt: powder and flux in, slag out, the crucible before and after. Its bars are notes of their own after it."""

    kind = "melt"
    label = "A melt"
    powder_g: Annotated[Number, GRAMS, Asked("Powder into the crucible", units="mass")]
    flux_g: Annotated[Number, GRAMS, Asked("Flux", units="mass")] | None = None
    slag_g: Annotated[Number, GRAMS, Asked("Slag that came off", units="mass")] | None = None
    crucible_before_g: Annotated[Number, GRAMS, Asked("The crucible before, empty", units="mass")] | None = None
    crucible_after_g: Annotated[Number, GRAMS, Asked("The crucible after", units="mass")] | None = None
    scale_g: Annotated[Number, Bounds(0, 1e4), Asked("The scale is right to ±", units="mass", unit="g")] | None = None


class BarNote(Content):
    """A bar that was poured: its mass, and how fine it is by an assay or by its weight in water.

    Of the same name once more, it takes the place of the one before.
    """

    kind = "bar"
    label = "A bar"
    name: Annotated[Text, Asked("Which (as bar 1)", longest=100)]
    grams: Annotated[Number, GRAMS, Asked("Mass", units="mass")]
    scale_g: Annotated[Number, Bounds(0, 1e4), Asked("The scale is right to ±", units="mass", unit="g")] | None = None
    assay: Annotated[Pair, Bounds(0, 1), Asked("Fineness by an assay, ‰ (as 925)", parts=1000)] | None = None
    assay_by: Annotated[Text, Asked("Who made the assay, and how", longest=200)] | None = None
    in_water_g: Annotated[Number, GRAMS, Asked("or hanging in water it weighs", units="mass", unit="g")] | None = None
    water_c: Annotated[Number, Bounds(0, 40), Asked("Temperature of that water", units="warmth")] | None = None
    other: Annotated[
        Literal["copper", "zinc", "tin", "iron"],
        Word,
        Asked(
            "What else is in it, most likely",
            options=(("copper", "copper"), ("zinc", "zinc"), ("tin", "tin"), ("iron", "iron")),
            value="copper",
        ),
    ] = "copper"
