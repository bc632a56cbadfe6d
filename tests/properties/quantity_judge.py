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
          "litre": 1, "litres": 1, "liter": 1, "gallon": GALLON, "gal": GALLON, "quart": GALLON / 4,
          "pint": GALLON / 8, "fl oz": GALLON / 128, "imperial gallon": IMPERIAL}  # fmt: skip
TIME = {"s": Fraction(1, 3600), "min": Fraction(1, 60), "h": 1, "hours": 1, "day": 24, "days": 24}
FIELDS = {  # table of units, least, most, whether nothing is something; None: no unit
    "grams": (MASS, Fraction(1, 10**4), 10**5, False),
    "scale_g": (MASS, 0, 10**4, True),
    "litres": (VOLUME, Fraction(1, 10**6), 10**4, False),
    "settled_h": (TIME, 0, 10**4, True),
    "ph": (None, -1, 15, True),
    "excess": (None, 1, 20, True),
}
ASKED = {"oz", "ozs", "ounce", "ounces", "gr", "grs", "ton", "tons"}


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
    factor = Fraction(1) if table is None or not word else Fraction(table.get(_flat(word).lower(), 0))
    # An unknown unit has factor 0: the figure is asked about first.
    if grouped and number * 1000 * factor * Fraction(10) ** power <= most:
        return ASK
    value = sign * number * Fraction(10) ** power
    if word:
        flat = _flat(word)
        if table is None:
            return REFUSE
        if flat in ("ML", "Mg", "MG") or flat.lower() in ASKED:
            return ASK
        if flat.lower() not in table:
            return REFUSE
        value *= table[flat.lower()]
    if not least <= value <= most or (value == 0 and not nothing):
        return REFUSE
    return value


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
