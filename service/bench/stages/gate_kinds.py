"""The kinds of gates that a procedure's file may name, each with its keys, their bounds and what they start at.

A number may be text with its unit ("90 min", "50 mg", "1 %"); kept is the number in the key's own unit.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, BeforeValidator, ConfigDict, Field

from service.bench.quantities import typed_number, typed_range
from stripread.words import _

NEUTRAL = (6.0, 8.0)  # pH called neutral where a procedure does not say; common practice, no source
# Kinds of notes from which a timed gate may count.
Event = Literal["used", "decant", "weight", "poured", "acid_rinse", "metal_check", "named_test", "melt", "bar"]


def _rising(band: tuple[float, float]) -> tuple[float, float]:
    if not -1.0 <= band[0] < band[1] <= 15.0:  # a band without ends would be a gate that is always open
        raise ValueError(_("the first end must be the lower one, both of them from -1 to 15"))
    return band


def _typed(field: str) -> BeforeValidator:
    """Text is read as an amount of ``field``, in its unit; what is no text passes to the type's own check."""
    read: Callable[[object], object] = lambda given: typed_number(field, given) if isinstance(given, str) else given  # noqa: E731
    return BeforeValidator(read)


def _share(given: object) -> object:
    return typed_range(given)[1] if isinstance(given, str) else given


Positive = Annotated[float, Field(strict=True, gt=0, allow_inf_nan=False)]
Hours = Annotated[Positive, _typed("settled_h")]
Grams = Annotated[Positive, _typed("grams")]
Share = Annotated[Positive, BeforeValidator(_share)]
Times = Annotated[int, Field(strict=True, ge=1, le=20)]
Strict = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Text = Annotated[str, Field(strict=True)]
Name = Annotated[str, Field(strict=True, min_length=1)]


class Table(BaseModel):
    """A table of the file: no key that nobody knows."""

    model_config = ConfigDict(frozen=True, extra="forbid")


class TintNone(Table):
    """No copper seen ``times`` running, with at most ``ppm`` (mg/kg) hidden in the metal."""

    kind: Literal["tint_none"] = "tint_none"
    times: Positive = 2
    ppm: Positive = 20.0


class PaleBelow(Table):
    """At most this share of the solid still pale."""

    kind: Literal["pale_below"] = "pale_below"
    share: Share = 0.01


class PhNeutral(Table):
    """The pH inside a band, or not different from the rinse water's own."""

    kind: Literal["ph_neutral"] = "ph_neutral"
    band: Annotated[tuple[Strict, Strict], AfterValidator(_rising)] = NEUTRAL


class WeightConstant(Table):
    """Two weights ``hours`` or more apart that agree within grams or a share of the mass, whichever is more."""

    kind: Literal["weight_constant"] = "weight_constant"
    within_g: Grams = 0.05
    within_share: Share = 0.001
    hours: Hours = 1.0


class ByHand(Table):
    """Nothing is measured: a person says when the stage is done."""

    kind: Literal["by_hand"] = "by_hand"


class MetalGone(Table):
    """An added metal is gone: no grain seen, no bubbles in fresh acid, said ``times`` running, ``hours`` apart.

    ``magnet``: a magnet draws nothing either. ``metal``: words by which a reagent noted as used is that metal; looks
    before it was last used do not count.
    """

    kind: Literal["metal_gone"] = "metal_gone"
    times: Times = 2
    hours: Hours = 0.5
    magnet: Annotated[bool, Field(strict=True)] = False
    metal: tuple[Name, ...] = ()


class Timed(Table):
    """At least ``hours`` since this stage began, since ``stage`` began, or since the last note of the kind ``note``.

    ``what``: only notes that name one of these words.
    """

    kind: Literal["timed"] = "timed"
    hours: Hours
    stage: Name | None = None
    note: Event | None = None
    what: tuple[Name, ...] = ()


class TestNone(Table):
    """The named ``test`` found nothing ``times`` running: in different washes, or ``hours`` apart if that is said."""

    __test__ = False  # no test of pytest's, whatever its name
    kind: Literal["test_none"] = "test_none"
    test: Name
    times: Times = 2
    hours: Hours | None = None


class NoOxide(Table):
    """No silver oxide left: no stall at pH 9 to 10, and a picture of the washed solid too light for it and no lighter
    than silver powder is, not surely more than ``share`` of it pale; where fine silver is too dark to tell, the named
    ``test`` found nothing ``times`` running. Once it found something, so many clean ones after it.
    """

    kind: Literal["no_oxide"] = "no_oxide"
    share: Share = 0.01
    test: Name | None = None
    times: Times = 2


OneGate = TintNone | PaleBelow | PhNeutral | WeightConstant | ByHand | MetalGone | Timed | TestNone | NoOxide


class AllOf(Table):
    """Several gates at once: open where each of them is."""

    kind: Literal["all"] = "all"
    of: Annotated[tuple[Annotated[OneGate, Field(discriminator="kind")], ...], Field(min_length=1)]


Gate = OneGate | AllOf
GATES: dict[str, type[Gate]] = {
    "tint_none": TintNone,
    "pale_below": PaleBelow,
    "ph_neutral": PhNeutral,
    "weight_constant": WeightConstant,
    "metal_gone": MetalGone,
    "timed": Timed,
    "test_none": TestNone,
    "no_oxide": NoOxide,
    "all": AllOf,
    "by_hand": ByHand,
}


def parts_of(gate: Gate) -> tuple[OneGate, ...]:
    """The gates that a gate is made of: itself, or all that must be open at once."""
    return gate.of if isinstance(gate, AllOf) else (gate,)
