"""Options that take a quantity or a number as a person types it, through the one door for both."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

if TYPE_CHECKING:
    _Type = click.ParamType[float]
else:
    _Type = click.ParamType  # older versions of click take no type here


_UNITS = {"l": "L", "ml": "mL", "hour": "h", "degC": "°C"}  # as people write them


class Quantity(_Type):
    """An option read by the rule of ``field`` (see RULES_OF in service.bench.quantities), in the field's own unit."""

    name = "number"

    def __init__(self, field: str) -> None:
        self.field = field

    def get_metavar(self, param: click.Parameter, ctx: click.Context | None = None) -> str:
        """What stands for the number in the help: with the unit that a bare one is in."""
        from service.bench.quantities import RULES_OF

        unit = RULES_OF[self.field].unit
        return "NUMBER" if unit is None else f"NUMBER[{_UNITS.get(unit, unit)}]"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> float:  # noqa: ANN401
        """The number; a question or a refusal names the option.

        Raises
        ------
        WrongQuantity
            As ``typed_number``.
        """
        from service.bench.quantities import WrongQuantity, typed_number, within

        where = param.opts[0] if param is not None else self.field
        try:
            return within(self.field, value) if isinstance(value, float) else typed_number(self.field, str(value))
        except WrongQuantity as wrong:
            raise wrong.at(where) from None
