"""Amounts and ranges as a person types them, for the command line, the page and the API alike.

A bare number counts in the field's own unit; "2 lb", "500 ml" and "90 min" are turned into it by the units library.
"""

from __future__ import annotations

import math
import re

from service.bench.reagents import amount

# Field -> the unit that it is kept in. Fields that are not here (pH, counts, mol) take bare numbers only.
UNITS = {
    "grams": "g",
    "scale_g": "g",
    "oxide_silver_g": "g",
    "litres": "l",
    "retained_l": "l",
    "ml": "ml",
    "settled_h": "hour",
    "temp_c": "degC",
    "chloride_g": "g",
    "volume_l": "l",
    "added_l": "l",
}
_PARTS = {"%": 100.0, "‰": 1000.0, "": 1.0}
_NUMBER = r"[0-9]*[.,]?[0-9]+"
_RANGE = re.compile(rf"\s*({_NUMBER})\s*(?:(?:-|\.\.|to)\s*({_NUMBER}))?\s*([%‰]?)\s*")


def typed_number(field: str, text: str) -> float:
    """The number of ``field`` in the unit that it is kept in.

    Raises
    ------
    ValueError
        If it can't be read, or is of another kind than the field.
    """
    if field in UNITS:
        return amount(text, UNITS[field])
    try:
        number = float(text.strip().replace(",", "."))
    except ValueError:
        raise ValueError(f"must be a number, not {text!r}") from None
    if not math.isfinite(number):
        raise ValueError(f"must be a number, not {text!r}")
    return number


def typed_range(text: str) -> tuple[float, float]:
    """ "0.2-0.4", "20 to 40 %", "925 ‰" or one number as (low, high).

    Raises
    ------
    ValueError
        If it can't be read.
    """
    found = _RANGE.fullmatch(text)
    if found is None:
        raise ValueError(f"give one number or a range such as 0.2-0.4 or 20-40 %, not {text!r}")
    low, high = (float((part or found[1]).replace(",", ".")) / _PARTS[found[3]] for part in (found[1], found[2]))
    return min(low, high), max(low, high)
