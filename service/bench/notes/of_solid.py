"""Notes about the solid: what was weighed, what was looked for in it, what touched it."""

from __future__ import annotations

from typing import Annotated, Any, Literal, Self

from pydantic import model_validator

from service.bench.note_fields import Asked, Bounds, Count, Flag, Number, Pair, Text, VesselName, Word
from service.bench.notes.content import GRAMS, Content
from service.bench.quantities import step_typed
from stripread.errors import CallError
from stripread.words import _


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
    vessel: Annotated[VesselName, Asked("In which vessel (empty: the batch's)", longest=60)] | None = None

    @classmethod
    def completed(cls, data: dict[str, Any]) -> dict[str, Any]:
        """With the step of the scale, where the metal's mass was typed and nobody said how far the scale is right."""
        typed, said = data.get("grams"), {"scale_g", "step_g"} & data.keys()
        if data.get("of") not in ("powder", "silver") or not isinstance(typed, str) or said:
            return data
        step = step_typed(typed)
        return data if step is None else {**data, "step_g": step}


class AmmoniaTest(Content):
    """A copper check with ammonia: how much of how strong, and whether it touched the solid."""

    kind = "ammonia_test"
    label = "A test with ammonia"
    ml: Annotated[Number, Bounds(0, 1e3), Asked("Ammonia and liquid together", units="small volume")]
    mol_l: Annotated[Number, Bounds(0, 15), Asked("Ammonia in it, mol/L")]
    on_solid: Annotated[Flag, Asked("It touched the solid", unticked=True)] = False


class AcidRinse(Content):
    """A rinse with acid over powder that may hold oxide: mol of it, or how much of which bottle."""

    kind = "acid_rinse"
    label = "A rinse with acid"
    acid_mol: Annotated[Number, Bounds(0, 1e3), Asked("Hydrochloric acid in it, mol")] | None = None
    acid_ml: Annotated[Number, Bounds(0, 1e5), Asked("or so much of a bottle", units="small volume")] | None = None
    bottle: Annotated[Text, Asked("whose label says (as 31 %, 1.15 g/ml)", longest=60)] | None = None
    oxide_silver_g: Annotated[Number, GRAMS, Asked("Silver that was still oxide, at most", units="mass")]

    @model_validator(mode="after")
    def _says_how_much(self) -> Self:
        if self.acid_mol is None and (self.acid_ml is None or self.bottle is None):
            raise CallError(_("an acid_rinse needs acid_mol, or acid_ml and bottle"))
        return self


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
