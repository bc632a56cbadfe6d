"""A strip kind's file that is wrong is told by pad, field and what was wanted there."""

import pytest

from stripread.errors import CallError
from stripread.kind import load_kind, pad_name

HEAD = 'name = "x"\nwidth_mm = 6.0\nlength_mm = 75.0\nrange = [0, 14]\n'
FIRST = "{offset_mm = 2.0, length_mm = 6.0}"
SECOND = "pad 1 (the 2nd from the dipped end)"


def pads(second):
    return f"{HEAD}pads = [{FIRST}, {second}]\n"


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (HEAD, "the strip kind lacks pads; wanted 1 to 24 pads, such as"),
        (f"{HEAD}[[pad]]\noffset_mm = 2.0\nlength_mm = 6.0\n", "lacks pads (is 'pad' a slip for it?)"),
        (f"{HEAD}pads = []\n", "pads is []; wanted 1 to 24 pads"),
        (f"{HEAD}pads = {FIRST}\n", "pads is {'offset_mm': 2.0, 'length_mm': 6.0}; wanted 1 to 24 pads"),
        (pads("[9, 6]"), f"{SECOND} is [9, 6]; wanted {FIRST}, mm from the dipped end"),
        (pads("{offset_mm = 9.0}"), f"{SECOND} lacks length_mm; wanted a length in mm"),
        (pads("{offset_mm = 9.0, lenght_mm = 6.0}"), f"{SECOND} lacks length_mm (is 'lenght_mm' a slip for it?)"),
        (
            pads("{offset_mm = 9.0, length_mm = -6.0}"),
            f"{SECOND}: length_mm is -6.0; wanted a length in mm, more than 0",
        ),
        (pads('{offset_mm = "9", length_mm = 6.0}'), f"{SECOND}: offset_mm is '9'; wanted mm from the dipped end"),
        (pads("{offset_mm = 7.0, length_mm = 6.0}"), f"{SECOND} begins at 7 mm, before pad 0 ends, 8 mm"),
        (pads("{offset_mm = 70, length_mm = 6.0}"), f"{SECOND} ends at 76 mm, beyond the strip's length_mm of 75"),
        (pads("{offset_mm = 9,0, length_mm = 6.0}"), "(at line 5, column"),
        (pads("{offset_mm = 9,0, length_mm = 6.0}"), "write a decimal point, not a comma"),
        (
            HEAD.replace("length_mm = 75.0\n", "") + f"pads = [{FIRST}]",
            "the strip kind lacks length_mm; wanted a length",
        ),
        (HEAD.replace("[0, 14]", "[14, 0]") + f"pads = [{FIRST}]", "from low to high pH, such as [0, 14], not [14, 0]"),
        (HEAD.replace("[0, 14]", "[0]") + f"pads = [{FIRST}]", "range is [0]; wanted the lowest and the highest pH"),
        (HEAD.replace("6.0", "600.0") + f"pads = [{FIRST}]", "width_mm is 600.0; wanted the strip's width in mm"),
    ],
)
def test_the_wrong_pad_and_field_are_named(tmp_path, text, words):
    path = tmp_path / "kind.toml"
    path.write_text(text, encoding="utf-8")
    with pytest.raises(CallError) as told:
        load_kind(path)
    assert words in str(told.value)
    assert str(told.value).startswith(str(path))


def test_pads_are_numbered_from_0_and_counted_from_1():
    names = {0: "1st", 1: "2nd", 2: "3rd", 3: "4th", 10: "11th", 11: "12th", 12: "13th", 20: "21st", 21: "22nd"}
    for number, place in names.items():
        assert pad_name(number) == f"pad {number} (the {place} from the dipped end)"
