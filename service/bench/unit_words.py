"""The units that people write at a bench, as the units library calls them, and the words that mean two things.

A gallon, quart, pint or fluid ounce says whose it is ("US gal", "imp pint"); bare it is asked back, since the British
pint is a fifth larger than the American.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from stripread.words import N_

# What the units library calls it -> how people write it, small letters, without dots and underscores.
_WRITTEN: dict[str, str] = {
    "microgram": "µg|ug|mcg|microgram|micrograms",
    "milligram": "mg|milligram|milligrams",
    "gram": "g|gm|gms|gram|grams|gramme|grammes",
    "kilogram": "kg|kgs|kilo|kilos|kilogram|kilograms",
    "tonne": "t|tonne|tonnes|metric ton|metric tons",
    "pound": "lb|lbs|pound|pounds",
    "ounce": "oz av|oz avdp|avdp oz|av oz|avoirdupois oz|avoirdupois ounce|avoirdupois ounces",
    "troy_ounce": "oz t|ozt|oz tr|t oz|toz|oz troy|troy oz|troy ounce|troy ounces|ounce troy|ounces troy",
    "grain": "grain|grains",
    "pennyweight": "dwt|pennyweight|pennyweights",
    "microliter": "µl|ul|microlitre|microlitres|microliter|microliters",
    "milliliter": "ml|millilitre|millilitres|milliliter|milliliters|cc|ccm|cm3|cm^3",
    "centiliter": "cl|centilitre|centilitres|centiliter|centiliters",
    "deciliter": "dl|decilitre|decilitres|deciliter|deciliters",
    "liter": "l|ltr|litre|litres|liter|liters|dm3|dm^3",
    "fluid_ounce": "us fl oz|us floz|us fluid oz|us fluid ounce|us fluid ounces",
    "pint": "us pint|us pints|us pt|us pts",
    "quart": "us quart|us quarts|us qt|us qts",
    "gallon": "us gallon|us gallons|us gal|us gals",
    "second": "s|sec|secs|second|seconds",
    "minute": "min|mins|minute|minutes",
    "hour": "h|hr|hrs|hour|hours",
    "day": "d|day|days",
    "week": "week|weeks",
    "degC": "c|°c|deg c|degc|celsius|degree celsius|degrees celsius",
    "degF": "f|°f|deg f|degf|fahrenheit|degrees fahrenheit",
    "kelvin": "k|kelvin",
    "millimeter": "mm|millimetre|millimetres|millimeter|millimeters",
    "centimeter": "cm|centimetre|centimetres|centimeter|centimeters",
    "inch": "in|inch|inches",
}
UNIT_WORDS: dict[str, str] = {
    word.replace("µ", "\u03bc"): name for name, words in _WRITTEN.items() for word in words.split("|")
}
_AMERICAN = {word.removeprefix("us "): name for word, name in UNIT_WORDS.items() if word.startswith("us ")}
UNIT_WORDS |= {
    f"{whose} {word}": f"imperial_{name}"
    for whose in ("imperial", "imp", "uk", "british")
    for word, name in _AMERICAN.items()
}

# A field's unit -> its sign, an example to show, what kind of amount it is.
EXAMPLES: dict[str, tuple[str, str, str]] = {
    "g": ("g", "80 g", N_("a mass")),
    "l": ("L", N_("80 ml or 1.5 l"), N_("a volume")),
    "ml": ("mL", "80 ml", N_("a volume")),
    "hour": ("h", "90 min", N_("a time")),
    "degC": ("°C", "60 °C", N_("a temperature")),
    "mm": ("mm", "10 mm", N_("a length")),
}


@dataclass(frozen=True)
class Question:
    """A word that means two things: why it is asked back, and how to write what may be meant."""

    why: str
    choices: tuple[str, ...]


_OUNCE = Question(N_("there are several kinds of ounce"), ("oz avdp", "troy oz", "US fl oz", "UK fl oz"))
_SIGN = {"fluid_ounce": "fl oz", "pint": "pint", "quart": "qt", "gallon": "gal"}
_MILLI = Question(N_("a capital M means a million"), ("mg", "kg"))
QUESTIONS: dict[str, Question] = {
    "gr": Question(N_("gr is grams to some and grains to others"), ("g", "grains")),
    "grs": Question(N_("gr is grams to some and grains to others"), ("g", "grains")),
    "oz": _OUNCE,
    "ozs": _OUNCE,
    "ounce": _OUNCE,
    "ounces": _OUNCE,
    "ML": Question(N_("ML is megalitres"), ("ml", "l")),
    "Mg": _MILLI,
    "MG": _MILLI,
    "ton": Question(N_("tons differ"), ("kg", "lb")),
    "tons": Question(N_("tons differ"), ("kg", "lb")),
    **{
        word: Question(N_("the British one is not the American one"), (f"US {_SIGN[name]}", f"UK {_SIGN[name]}"))
        for word, name in _AMERICAN.items()
    },
}


def words_of(word: str) -> tuple[str, str]:
    """A unit as written without dots and doubled spaces, and the same in small letters, as UNIT_WORDS has it."""
    said = " ".join(re.sub(r"[._]", " ", word).replace("º", "°").split())
    return said, re.sub(r"^u ([sk]) ", r"u\1 ", re.sub(r"^° ", "°", said.lower()))
