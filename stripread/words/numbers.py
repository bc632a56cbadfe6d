"""Numbers as people of a language write them: the signs of decimals and of thousands, by Babel's tables."""

from __future__ import annotations

import re
from decimal import Decimal
from functools import cache
from numbers import Real
from string import Formatter
from typing import Any

from stripread.words.language import SOURCE, spoken


@cache
def _signs(language: str) -> dict[int, str]:
    """What stands for point, comma and per cent."""
    from babel import Locale  # noqa: PLC0415 - English never pays for it
    from babel.numbers import get_decimal_symbol, get_group_symbol  # noqa: PLC0415

    per_cent = Locale.parse(language).percent_formats[None].suffix[0]
    return str.maketrans({".": get_decimal_symbol(language), ",": get_group_symbol(language), "%": per_cent})


# Three digits of 1234 g are "1.23e+03" to Python, which nobody at a bench reads; beyond these it is said by its power.
_POWER = re.compile(r"[-+]?\d(\.\d+)?e([-+]\d\d)")
_LEAST, _MOST = -7, 9


def _plain(text: str) -> str:
    found = _POWER.fullmatch(text)
    return format(Decimal(text), "f") if found and _LEAST <= int(found[2]) <= _MOST else text


def local(text: str, language: str) -> str:
    """A number that was written with a point, as ``language`` writes it; without a power of ten where digits do."""
    text = _plain(text)
    return text if language == SOURCE else text.translate(_signs(language))


def number(value: float | Decimal, spec: str = "") -> str:
    """``value`` in the form ``spec``, as the language spoken now writes it. For people, never for JSON or CSV."""
    return local(format(value, spec), spoken())


class Filling(Formatter):
    """Fills the fields of a sentence; numbers as ``language`` writes them."""

    def __init__(self, language: str) -> None:
        self.language = language

    def format_field(self, value: Any, format_spec: str) -> str:  # noqa: ANN401 - what str.format takes
        """One field, as ``str.format`` fills it but for the signs of a number."""
        text: str = super().format_field(value, format_spec)
        return local(text, self.language) if isinstance(value, Real) and not isinstance(value, bool) else text
