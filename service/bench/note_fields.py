"""The kinds of values that notes hold: how each is checked, and how a form asks for it.

A number or a range may come as text with a unit, "1 lb" or "25-30 %"; kept is the number in the field's own unit.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Annotated, Literal

from pydantic import BeforeValidator, GetCoreSchemaHandler, GetJsonSchemaHandler, ValidationInfo
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, core_schema

from service.bench.quantities import typed_number, typed_range, within
from stripread.words import _

Units = Literal["mass", "volume", "time", "warmth", "small volume", "acid or lye"]
IN_LOG = {"in_log": True}  # context of a check: the note was written down before
LONGEST, LONGEST_WORD, LONGEST_NAME = 20000, 100, 60  # characters


@dataclass(frozen=True)
class Asked:
    """How a form asks for a field: its label, and what goes beyond the field's own type.

    ``units`` is the family that the unit is picked from, ``unit`` the one picked at first; ``parts`` how many make up
    one (100: per cent); ``options`` (value, words) of a choice; ``value`` what is filled in at first; ``only_if`` the
    field and value on which it is asked for at all;
    ``unticked`` whether a tick that is not set is said too; ``whole`` for counts; ``longest`` in characters.
    """

    label: str
    units: Units | None = None
    unit: str | None = None
    parts: int = 1
    options: tuple[tuple[str, str], ...] = ()
    value: str | None = None
    only_if: tuple[str, str] | None = None
    unticked: bool = False
    whole: bool = False
    longest: int | None = None


@dataclass(frozen=True)
class Bounds:
    """The least and the most that a number, or each end of a range, may be."""

    least: float
    most: float

    def check(self, value: float | tuple[float, float], info: ValidationInfo) -> float | tuple[float, float]:
        """The value itself. What stands in the log already is not held to rules for what is written now.

        Raises
        ------
        ValueError
            If it lies outside.
        """
        for number in value if isinstance(value, tuple) else (value,):
            if not self.least <= number <= self.most:
                raise ValueError(
                    _(
                        " must lie between {least:g} and {most:g}, not {number:g}",
                        least=self.least,
                        most=self.most,
                        number=number,
                    )
                )
        if not isinstance(value, tuple) and info.context != IN_LOG:
            within(str(info.field_name), value)
        return value

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        """The type's own check, then this one."""
        return core_schema.with_info_after_validator_function(self.check, handler(source))

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        """The type's own description, with the bounds in its text: what is typed may have another unit."""
        found = handler(schema)
        found["description"] = f"{self.least:g} to {self.most:g} in the unit of its name."
        return found


def _finite(value: object) -> float:
    if isinstance(value, bool) or not isinstance(value, int | float) or not math.isfinite(value):
        raise ValueError(_(" must be a number, not {value!r}", value=value))
    return float(value)


def _number(value: object, info: ValidationInfo) -> float:
    return _finite(typed_number(str(info.field_name), value) if isinstance(value, str) else value)


def _count(value: object, info: ValidationInfo) -> int:
    number = _number(value, info)
    if number != int(number) or (isinstance(value, str) and "." in value.replace(",", ".")):
        raise ValueError(_(" must be a whole number, not {value!r}", value=value))
    return int(number)


def _pair(value: object) -> tuple[float, float]:
    ends: object = typed_range(value) if isinstance(value, str) else value
    if not isinstance(ends, list | tuple) or len(ends) != 2:
        raise ValueError(_(" can't be {value!r}", value=value))
    low, high = sorted(_finite(v) for v in ends)
    return low, high


def _text(value: object) -> str:
    if not isinstance(value, str) or not value.strip() or len(value) > LONGEST:
        raise ValueError(_(" can't be {value!r}", value=value))
    return value.strip()


def _vessel_name(value: object) -> str:
    name = " ".join(_text(value).split())
    if len(name) > LONGEST_NAME:
        raise ValueError(_(" has {most} characters at most", most=LONGEST_NAME))
    return name


def _flag(value: object) -> bool:
    if not isinstance(value, bool):
        raise ValueError(_(" can't be {value!r}", value=value))
    return value


def _texts(value: object) -> tuple[str, ...]:
    fine = isinstance(value, list | tuple) and all(isinstance(v, str) and len(v) < LONGEST_WORD for v in value)
    if not fine:
        raise ValueError(_(" can't be {value!r}", value=value))
    assert isinstance(value, list | tuple)
    return tuple(value)


Number = Annotated[float, BeforeValidator(_number, json_schema_input_type=float | str)]
Count = Annotated[int, BeforeValidator(_count, json_schema_input_type=int | str)]
Pair = Annotated[tuple[float, float], BeforeValidator(_pair, json_schema_input_type=tuple[float, float] | str)]
Text = Annotated[str, BeforeValidator(_text, json_schema_input_type=str)]
VESSEL = BeforeValidator(_vessel_name, json_schema_input_type=str)
VesselName = Annotated[str, VESSEL]
Flag = Annotated[bool, BeforeValidator(_flag, json_schema_input_type=bool)]
Texts = Annotated[tuple[str, ...], BeforeValidator(_texts, json_schema_input_type=list[str])]
Word = BeforeValidator(lambda value: value.strip() if isinstance(value, str) else value)
