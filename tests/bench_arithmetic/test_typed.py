"""Amounts as a person types them, through the same door from the page, the API and the command line."""

from __future__ import annotations

import pytest

from service.bench.notes import checked
from service.bench.quantities import typed_number, typed_range
from stripread.errors import CallError


@pytest.mark.parametrize(
    ("field", "text", "value"),
    [
        # Source: pound and US gallon are exact by definition; 60 °C is 140 °F. From memory, not looked up.
        ("grams", "1 lb", 453.59237),
        ("grams", "412,5", 412.5),
        ("litres", "1 US gallon", 3.785411784),
        # Source: the imperial gallon is 4.54609 L by definition (UK Weights and Measures Act 1985, from memory).
        ("litres", "1 imp gal", 4.54609),
        ("litres", "1 UK pint", 0.56826125),
        ("litres", "1 U.S. pint", 0.473176473),
        ("litres", "2 imp. fl. oz.", 0.0568261250),
        ("litres", "1 british qt", 1.1365225),
        ("settled_h", "90 min", 1.5),
        ("temp_c", "140 degF", 60.0),
        ("temp_c", "60", 60.0),
        ("ml", "0.5 l", 500.0),
        ("ph", "7,1", 7.1),
    ],
)
def test_a_number_in_the_units_of_its_field(field, text, value):
    assert typed_number(field, text) == pytest.approx(value, rel=1e-6)


@pytest.mark.parametrize(
    ("text", "low", "high"),
    [("0.25-0.3", 0.25, 0.3), ("25-30 %", 0.25, 0.3), ("30 to 25%", 0.25, 0.3), ("925 ‰", 0.925, 0.925),
     ("0,2..0,4", 0.2, 0.4), ("0.3", 0.3, 0.3)],
)  # fmt: skip
def test_a_range(text, low, high):
    assert typed_range(text) == pytest.approx((low, high))


@pytest.mark.parametrize("text", ["", "wet", "-", "1-2-3", "nan", "1e9", "5 kg"])
def test_ranges_that_are_none(text):
    with pytest.raises(ValueError, match="range"):
        typed_range(text)


def test_a_note_keeps_the_number_in_the_fields_own_unit():
    clean = checked("weight", {"of": "chloride", "grams": "1 lb", "scale_g": "500 mg", "moisture": "25-30 %"})
    assert clean.fields() == {
        "of": "chloride",
        "grams": pytest.approx(453.59237),
        "scale_g": 0.5,
        "moisture": [0.25, 0.3],
    }


@pytest.mark.parametrize(
    ("kind", "data", "says"),
    [
        ("weight", {"of": "chloride", "grams": "2 l"}, "weight's grams"),
        ("weight", {"of": "chloride", "grams": "-3"}, "weight's grams"),
        ("weight", {"of": "chloride", "grams": 10, "moisture": "120 %"}, "between 0 and 0.99"),
        ("poured", {"what": "acid", "litres": "1 l", "ph": "sour"}, "poured's ph"),
        ("strike", {"note": "nan", "why": "x"}, "strike's note"),
        ("vessel", {"papers": "9" * 200}, "vessel's papers"),
        ("decant", {"name": "w", "litres": 1, "wash": "2.5"}, "decant's wash must be a whole number"),
    ],
)
def test_a_note_that_can_not_be_read_names_the_field(kind, data, says):
    with pytest.raises(CallError, match=says):
        checked(kind, data)
