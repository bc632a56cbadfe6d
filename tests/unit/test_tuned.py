"""Chosen numbers stand once, as data with their reasons, and the code has no second copy of them."""

from __future__ import annotations

import ast
import math
import subprocess
import sys
from collections import Counter
from functools import cache
from pathlib import Path

import pytest

from stripread.tuned import TunedNumber, TunedNumbers, tuned

ROOT = Path(__file__).resolve().parents[2]
PACKAGES = sorted(
    ".".join(path.parent.relative_to(ROOT).parts)
    for top in ("stripread", "calibration", "service")
    for path in (ROOT / top).rglob("tuned.toml")
)
# Constants that have a tuned number's value by chance: the file, the value, what it is
OTHER_MEANING = {
    ("stripread/strip/pads.py", 12): "pixels a pad must have",
    ("stripread/describe/measure.py", 0.12): "mm of the least blur",
    ("stripread/describe/along.py", 12): "mm that a strip is long at least",
    ("stripread/describe/place.py", 12): "degrees that are tried",
    ("stripread/card/edges.py", 0.12): "share of a mark's side",
    ("stripread/card/markers.py", 45): "pixels of a threshold window",
    ("calibration/check_picture.py", 0.012): "distance of marks in the picture",
}


@cache
def trees(package: str) -> list[tuple[str, ast.Module]]:
    folder = ROOT / package.replace(".", "/")
    return [(str(p.relative_to(ROOT)), ast.parse(p.read_text("utf-8"))) for p in sorted(folder.glob("*.py"))]


def reads(package: str) -> list[str]:
    """Names that the package's code reads from its numbers, each place once; f"scatter_{name}" as "scatter_"."""
    names = []
    for _, tree in trees(package):
        for node in ast.walk(tree):
            if isinstance(node, ast.Call) and isinstance(node.func, ast.Attribute):
                owner = node.func.value
                if isinstance(owner, ast.Name) and owner.id == "_TUNED":
                    (name,) = node.args
                    if isinstance(name, ast.Constant):
                        names.append(str(name.value))
                    else:
                        assert isinstance(name, ast.JoinedStr)
                        names.append(str(name.values[0].value))
    return names


def values(entry: TunedNumber) -> tuple[float, ...]:
    return entry.value if isinstance(entry.value, tuple) else (entry.value,)


def distinctive(value: float) -> bool:
    """Two digits or more, and no round one: 0.053 and 617 are, 0.5 and 100 are not."""
    digits = f"{abs(value):.12g}".replace(".", "").strip("0").split("e")[0]
    return len(digits) >= 2 and digits not in {"25", "75", "15"}


def test_the_stages_have_their_numbers():
    assert {p.split(".")[-1] for p in PACKAGES} >= {"correction", "strip", "ph", "tint", "solid", "window", "card"}
    assert "calibration" in PACKAGES


@pytest.mark.parametrize("package", PACKAGES)
def test_every_entry_says_what_it_is_and_why(package):
    for name, entry in tuned(package).entries.items():
        assert all(isinstance(v, int | float) and math.isfinite(v) for v in values(entry)), name
        for text in (entry.unit, entry.why, entry.source):
            assert len(text) > 1, f"{package}: {name}"
        assert entry.why.endswith("."), f"{package}: {name}: {entry.why}"
        assert len(entry.why) >= len("Delta E.") + 5, f"{package}: {name}: {entry.why}"


@pytest.mark.parametrize("package", PACKAGES)
def test_every_entry_is_read_at_one_place(package):
    counted = Counter(reads(package))
    for name in tuned(package).entries:
        used = counted[name] or counted[name.split("_")[0] + "_"]
        assert used == 1, f"{package}: {name} is read at {used} places"
    for name in counted:
        assert any(key == name or key.startswith(name) for key in tuned(package).entries), name


def named_literals(tree: ast.Module) -> list[tuple[int, float]]:
    """Numbers given a name at a module's top, and defaults of arguments and fields: (line, value)."""
    holders: list[ast.expr | None] = [n.value for n in tree.body if isinstance(n, ast.Assign | ast.AnnAssign)]
    for node in ast.walk(tree):
        if isinstance(node, ast.ClassDef):
            holders += [n.value for n in node.body if isinstance(n, ast.AnnAssign)]
        elif isinstance(node, ast.arguments):
            holders += [*node.defaults, *node.kw_defaults]
    constants = (n for holder in holders if holder is not None for n in ast.walk(holder) if isinstance(n, ast.Constant))
    return [(n.lineno, n.value) for n in constants if type(n.value) in (int, float)]


@pytest.mark.parametrize("package", PACKAGES)
def test_the_code_has_no_second_copy(package):
    numbers = {v: name for name, entry in tuned(package).entries.items() for v in values(entry) if distinctive(v)}
    for file, tree in trees(package):
        for line, value in named_literals(tree):
            known = value not in numbers or (file, value) in OTHER_MEANING
            assert known, f"{file}:{line}: {value} is {numbers[value]} of tuned.toml"


def test_names_are_told_apart_everywhere():
    counted = Counter(name for package in PACKAGES for name in tuned(package).entries)
    assert [name for name, n in counted.items() if n > 1] == []


def test_readers_know_one_from_several():
    made = TunedNumbers(
        "made.up",
        {
            "one": TunedNumber(2.5, "mm", "Why.", "from memory", ""),
            "whole": TunedNumber(3, "mm", "Why.", "from memory", ""),
            "three": TunedNumber((1.0, 2.0, 3.0), "mm", "Why.", "from memory", ""),
        },
    )
    assert made.number("one") == 2.5
    assert made.count("whole") == 3
    assert made.numbers("three") == (1.0, 2.0, 3.0)
    with pytest.raises(ValueError, match="no whole number"):
        made.count("one")
    with pytest.raises(TypeError, match="one number"):
        made.numbers("one")
    with pytest.raises(TypeError, match="several"):
        made.number("three")
    with pytest.raises(ValueError, match="unpack"):
        made.pair("three")
    with pytest.raises(KeyError):
        made.number("none")


def test_importing_the_package_reads_none():
    code = "import stripread, stripread.reasons, sys; sys.exit('tomllib' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], cwd=ROOT, check=False).returncode == 0
