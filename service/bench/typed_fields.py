"""Numbers of HTTP forms and JSON bodies, through the quantities' door: text as a person types it, or a plain number."""

from __future__ import annotations

from dataclasses import dataclass

from pydantic import GetCoreSchemaHandler, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema, core_schema

from service.bench.quantities import RULES_OF, WrongQuantity, typed_number, typed_range, within
from stripread.words import _


@dataclass(frozen=True)
class Typed:
    """Annotates a float, an int or a pair of floats: read and bounded by the rule of ``field`` in RULES_OF.

    ``whole`` for counts; ``share`` where "25 %" is 0.25; ``pair`` for a range, "6.5-7.1" or [6.5, 7.1].
    """

    field: str
    whole: bool = False
    share: bool = False
    pair: bool = False

    def check(self, value: object) -> float | int | list[float]:
        """The number in the field's own unit, or both ends of a range, the lower first.

        Raises
        ------
        WrongQuantity
            If it can't be read, may mean two things, or lies out of bounds.
        """
        if not self.pair:
            return self._one(value)
        if isinstance(value, str):
            value = typed_range(value)
        if not isinstance(value, list | tuple) or len(value) != 2:
            raise WrongQuantity(_("must be two numbers, the lower and the higher end, such as 6.5-7.1"))
        return [float(self._one(end)) for end in value]

    def _one(self, value: object) -> float | int:
        number = self._read(value)
        if not self.whole:
            return number
        if number != int(number) or (isinstance(value, str) and "." in value.replace(",", ".")):
            raise WrongQuantity(_("must be a whole number, not {value!r}", value=value))
        return int(number)

    def _read(self, value: object) -> float:
        if isinstance(value, str):
            if self.share and value.rstrip().endswith(("%", "‰")):
                low, high = typed_range(value)
                if low != high:
                    raise WrongQuantity(_("give one number, not the range {value!r}", value=value))
                return within(self.field, low)
            return typed_number(self.field, value)
        if isinstance(value, bool) or not isinstance(value, int | float):
            raise WrongQuantity(_("must be a number, not {name}", name=type(value).__name__))
        try:
            return within(self.field, float(value))
        except OverflowError:
            raise WrongQuantity(_("must be a number, not one of so many digits")) from None

    def __get_pydantic_core_schema__(self, source: object, handler: GetCoreSchemaHandler) -> CoreSchema:
        """The door's check, then the type's own."""
        inner = handler(source)
        given = core_schema.union_schema([inner, core_schema.str_schema()])
        return core_schema.no_info_before_validator_function(self.check, inner, json_schema_input_schema=given)

    def __get_pydantic_json_schema__(self, schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        """The type's own description, with the bounds in its text: what is typed may have another unit."""
        found = handler(schema)
        rule = RULES_OF[self.field]
        bounds = f"{rule.least:g} to {rule.most:g}{'' if rule.unit is None else ' ' + rule.unit}"
        found.setdefault("description", f"{bounds}; as text with its own unit too.")
        return found
