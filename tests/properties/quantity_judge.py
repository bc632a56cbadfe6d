"""What a typed quantity means, worked out a second time from the rules alone: no regular expression, no units library.

Conversion factors: exact by definition (international pound 453.59237 g, US gallon 231 cubic inches, imperial gallon
4.54609 L); from memory, not looked up.
"""

from __future__ import annotations

import unicodedata
from fractions import Fraction
from itertools import pairwise

ASK, REFUSE = "ask", "refuse"
POUND, GALLON, IMPERIAL = Fraction("453.59237"), Fraction("3.785411784"), Fraction("4.54609")
MASS = {"mg": Fraction(1, 1000), "g": 1, "gram": 1, "grams": 1, "kg": 1000, "kilo": 1000, "t": 10**6, "lb": POUND,
        "lbs": POUND, "pound": POUND, "pounds": POUND, "oz avdp": POUND / 16, "oz t": 480 * POUND / 7000,
        "troy oz": 480 * POUND / 7000, "troy ounce": 480 * POUND / 7000, "grain": POUND / 7000,
        "grains": POUND / 7000, "dwt": 24 * POUND / 7000}  # fmt: skip
VOLUME = {"ml": Fraction(1, 1000), "cc": Fraction(1, 1000), "cl": Fraction(1, 100), "dl": Fraction(1, 10), "l": 1,
          "litre": 1, "litres": 1, "liter": 1, "us gallon": GALLON, "us gal": GALLON, "us qt": GALLON / 4,
          "us pint": GALLON / 8, "us fl oz": GALLON / 128, "imperial gallon": IMPERIAL, "imp gal": IMPERIAL,
          "uk pint": IMPERIAL / 8, "imp pint": IMPERIAL / 8, "u s gal": GALLON, "uk fl oz": IMPERIAL / 160,
          "imp qt": IMPERIAL / 4, "british pint": IMPERIAL / 8}  # fmt: skip
MILLILITRE = {word: 1000 * factor for word, factor in VOLUME.items()}
LENGTH = {"mm": 1, "cm": 10, "in": Fraction("25.4"), "inch": Fraction("25.4"), "inches": Fraction("25.4")}
DEGREES = {"c": (1, 0), "°c": (1, 0), "degc": (1, 0), "celsius": (1, 0), "k": (1, Fraction("-273.15")),
           "kelvin": (1, Fraction("-273.15")), "f": (Fraction(5, 9), Fraction(-160, 9)),
           "°f": (Fraction(5, 9), Fraction(-160, 9))}  # factor and what is added  # fmt: skip
TIME = {"s": Fraction(1, 3600), "min": Fraction(1, 60), "h": 1, "hours": 1, "day": 24, "days": 24}
FIELDS = {  # table of units, least, most, whether nothing is something; None: no unit
    "grams": (MASS, Fraction(1, 10**4), 10**5, False),
    "scale_g": (MASS, 0, 10**4, True),
    "litres": (VOLUME, Fraction(1, 10**6), 10**4, False),
    "settled_h": (TIME, 0, 10**4, True),
    "ph": (None, -1, 15, True),
    "excess": (None, 1, 20, True),
    "path_mm": (LENGTH, Fraction(1, 10), 1000, False),
    "temp_c": (DEGREES, 0, 100, True),
    "ml": (MILLILITRE, Fraction(1, 1000), 1000, False),
    "added_ml": (MILLILITRE, 0, 1000, True),
    "dilution": (None, 1, 1000, True),
    "alkalinity_mmol_l": (None, 0, 50, True),
    "moisture": (None, 0, Fraction("0.95"), True),
}
IN_MASS = {"gr", "grs", "ton", "tons", "Mg", "MG"}
IN_VOLUME = {"ML", "gal", "gallon", "gallons", "pint", "pints", "pt", "qt", "quart", "quarts", "fl oz", "floz",
             "fluid ounce", "fluid ounces"}  # fmt: skip
IN_BOTH = {"oz", "ozs", "ounce", "ounces"}


def judged(field: str, text: str) -> Fraction | str:  # noqa: PLR0911 - one way out for each rule
    """The value in the field's own unit, or ASK or REFUSE."""
    table, least, most, nothing = FIELDS[field]
    read = _split(text)
    if read is None:
        return REFUSE
    sign, digits, power, word = read
    marks = [c for c in digits if c in ".,"]
    if len(marks) > 1:
        return REFUSE
    whole, _, behind = digits.replace(",", ".").partition(".")
    number = Fraction(int(whole or 0) * 10 ** len(behind) + int(behind or 0), 10 ** len(behind))
    grouped = bool(marks) and len(behind) == 3 and 1 <= len(whole) <= 3 and whole[0] != "0"
    unit = (1, 0) if table is None or not word else _unit(table, _flat(word).lower())
    # Of an unknown unit the figure is asked about first.
    if grouped and (unit is None or number * 1000 * Fraction(10) ** power * unit[0] + unit[1] <= most):
        return ASK
    value = sign * number * Fraction(10) ** power
    if word:
        flat = _flat(word)
        if table is not None and _asked(flat, table):
            return ASK
        if table is None or unit is None:
            return REFUSE
        value = value * unit[0] + unit[1]
        value = round(value, 9) if table is DEGREES else value  # as the door keeps them
    if not least <= value <= most or (value == 0 and not nothing):
        return REFUSE
    return value


def _unit(table: dict, word: str) -> tuple[Fraction, Fraction] | None:
    """Factor and offset of a unit, None for one that the table has not."""
    found = table.get(word)
    return found if found is None or isinstance(found, tuple) else (found, 0)


def _asked(word: str, table: dict) -> bool:
    """Whether a unit means two things that the table could measure."""
    both = word.lower() in IN_BOTH
    if table is MASS:
        return both or word in IN_MASS or word.lower() in IN_MASS - {"Mg", "MG"}
    if table is VOLUME or table is MILLILITRE:
        return both or word == "ML" or word.lower() in IN_VOLUME
    return False


def _split(text: str) -> tuple[int, str, int, str] | None:
    """Sign, digits with their marks, power of ten, unit."""
    if len(text) > 60 or any(unicodedata.category(c) == "No" for c in text):
        return None
    line = " ".join("".join(_narrow(c) for c in text).split())
    sign = -1 if line[:1] == "-" else 1
    line = line[1:] if line[:1] in ("-", "+") else line
    n = 0
    while n < len(line) and line[n] in "0123456789.,":
        n += 1
    digits, rest = line[:n], line[n:]
    if not any(c.isdigit() for c in digits) or digits[-1] in ".,":
        return None
    if any(a in ".," and b in ".," for a, b in pairwise(digits)):
        return None
    power, tail = 0, rest[1:]
    if rest[:1] in ("e", "E"):
        signed = tail[1:] if tail[:1] in ("+", "-") else tail
        m = 0
        while m < len(signed) and signed[m] in "0123456789":
            m += 1
        if m > 3 or (m and signed[m : m + 1] in (".", ",") and m < len(signed)):
            return None
        if m:
            power = int(signed[:m]) * (-1 if tail[:1] == "-" else 1)
            rest = signed[m:]
    return sign, digits, power, rest.strip()


def _flat(word: str) -> str:
    return " ".join(word.replace(".", " ").replace("_", " ").split())


def _narrow(c: str) -> str:
    if "\uff01" <= c <= "\uff5e":  # full-width forms stand 0xFEE0 above the plain ones
        return chr(ord(c) - 0xFEE0)
    if c == "\u2212":
        return "-"
    return " " if c.isspace() else c
