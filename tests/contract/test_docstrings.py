"""What public docstrings must say, judged by rules that a machine can keep.

Checked: functions and classes without a leading underscore (and their public methods) in stripread, calibration and
service/bench.

1. Shapes. Where a parameter, return or field is annotated as an array (NDArray, or this house's Array, Pixels, Image),
   the docstring of the function or its class holds a shape: a bracket with sizes, such as ``(N, 3)``, ``(4,)`` or
   ``(..., 3)``, or the words "any shape" where a function works number by number.
2. Errors. Where the body itself raises an error that a caller meets (CallError, Refused, ValueError, TypeError,
   KeyError), the docstring has a ``Raises`` section that names it. Errors raised by what it calls can't be seen this
   way, and are left to the reader.
3. Sources. Where it names a formula or law by a person's name, it says where the formula comes from: in the docstring
   of the function, its class or its module, a year, a standard, the words "from memory" or "no source", or that
   another docstring, named in backquotes, has it ("source stands").
"""

import ast
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PLACES = ("stripread", "calibration", "service/bench")
ARRAYS = {"NDArray", "Array", "Pixels", "Image"}
# a size: N, 3, 3P, n 3P, m + 1, N_TONE, rows, ...
_SIZE = r"(?:\.\.\.|\d*[A-Za-z]?|[A-Z_]{2,}|[a-z] \d?[A-Z]|rows|columns)(?: ?(?://|[*+-]) ?\w+)?"
SHAPE = re.compile(rf"\(\s*{_SIZE}(?:,\s*{_SIZE})+\s*\)|\bany shape\b")
ERRORS = {"CallError", "Refused", "ValueError", "TypeError", "KeyError"}
# A capital name before or after what it names: Beer's law, Kubelka-Munk model, Debye-Hückel, Henderson's equation
LAW = re.compile(
    r"\b[A-Z][a-zü]+(?:[-\u2013][A-Z][a-zü]+)*(?:'s|s')? (?:law|equation|formula|criterion|rule|theorem|inequality)\b"
    r"|\b(?:Kubelka|Saunderson|Debye|Davies|Pitzer|Nernst|Henderson|Lambert|Yule|Clapper|Fresnel|Stokes)\b"
)
SOURCE = re.compile(
    r"\b(?:1[89]|20)\d\d\b|\b(?:ISO|CIE|ASTM|NIST|IUPAC|ICC|EXIF|PHREEQC|CRC)\b|from memory|no source"
    r"|``[\w.]+``,\s+where\s+the\s+formula's\s+source\s+stands"
)


@dataclass(frozen=True)
class Thing:
    """A function or class with what stands around it."""

    where: str
    node: ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef
    words: str  # its own docstring
    around: str  # and those of its class
    module: str


def things(path: Path) -> Iterator[Thing]:
    """The public functions, methods and classes of a file."""
    tree = ast.parse(path.read_text(encoding="utf-8"))
    yield from _inside(
        tree, str(path.relative_to(ROOT)) if path.is_relative_to(ROOT) else path.name, "", ast.get_docstring(tree) or ""
    )


def _inside(tree: ast.Module | ast.ClassDef, place: str, around: str, module: str) -> Iterator[Thing]:
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) or node.name.startswith("_"):
            continue
        words = ast.get_docstring(node) or ""
        yield Thing(f"{place}:{node.lineno} {node.name}", node, words, around, module)
        if isinstance(node, ast.ClassDef):
            yield from _inside(node, place, words, module)


def annotations(node: ast.AST) -> list[ast.expr]:
    """What is annotated: parameters and return of a function, fields of a class."""
    if isinstance(node, ast.ClassDef):
        return [item.annotation for item in node.body if isinstance(item, ast.AnnAssign)]
    given = node.args
    every = [*given.posonlyargs, *given.args, *given.kwonlyargs, given.vararg, given.kwarg]
    return [a.annotation for a in every if a is not None and a.annotation] + ([node.returns] if node.returns else [])


def is_array(annotation: ast.AST) -> bool:
    """Whether an annotation is an array, alone, in a union, or in a container."""
    if isinstance(annotation, ast.Attribute):  # Image.Image is another library's
        return False
    if isinstance(annotation, ast.Name):
        return annotation.id in ARRAYS
    return any(is_array(n) for n in ast.iter_child_nodes(annotation))


def raised(node: ast.AST) -> set[str]:
    """Errors that the body itself raises and does not catch; functions inside it are their own."""
    found: set[str] = set()
    todo = list(ast.iter_child_nodes(node))
    while todo:
        item = todo.pop()
        if isinstance(item, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef | ast.Lambda):
            continue
        if isinstance(item, ast.Raise) and item.exc is not None:
            name = item.exc.func if isinstance(item.exc, ast.Call) else item.exc
            if isinstance(name, ast.Name) and name.id in ERRORS:
                found.add(name.id)
        if isinstance(item, ast.Try):  # what its own handlers catch does not leave the function
            caught = {
                n.id for h in item.handlers if h.type is not None for n in ast.walk(h.type) if isinstance(n, ast.Name)
            }
            inner = ast.Module(item.body, [])
            found |= raised(inner) - caught
            todo += [*item.handlers, *item.orelse, *item.finalbody]
            continue
        todo += list(ast.iter_child_nodes(item))
    return found


def faults(thing: Thing) -> list[str]:
    """What a docstring leaves out."""
    found = []
    if any(is_array(a) for a in annotations(thing.node)) and not SHAPE.search(thing.words + "\n" + thing.around):
        found.append("no shape of an array")
    if not isinstance(thing.node, ast.ClassDef):
        section = thing.words.partition("Raises\n------")[2]
        found += [f"raises {name} and does not say so" for name in sorted(raised(thing.node)) if name not in section]
    if (law := LAW.search(thing.words)) and not SOURCE.search("\n".join((thing.words, thing.around, thing.module))):
        found.append(f"names '{law[0]}' without a source")
    return found


def all_faults() -> list[str]:
    """Every fault in the house."""
    return [
        f"{thing.where}: {fault}"
        for place in PLACES
        for path in sorted((ROOT / place).rglob("*.py"))
        for thing in things(path)
        for fault in faults(thing)
    ]


def test_public_docstrings_say_shapes_errors_and_sources():
    found = all_faults()
    assert not found, "\n".join(found)


@pytest.mark.parametrize(
    ("code", "fault"),
    [
        ('def f(x: Array) -> float:\n    """Sum of x."""', "no shape"),
        ('def f(x: Array) -> float:\n    """Sum of x (N, 3)."""', ""),
        ('def f(x: Array) -> float:\n    """Sum of x (in mm, by rows)."""', "no shape"),
        ('def f() -> NDArray[np.float64] | None:\n    """Make one."""', "no shape"),
        ('class C:\n    """A thing."""\n\n    x: list[Array]', "no shape"),
        ('class C:\n    """x (4,) mm."""\n\n    x: Array\n\n    def f(self) -> Array:\n        """It."""', ""),
        ('def f(x: int) -> int:\n    """It."""\n    raise CallError("no")', "raises CallError"),
        ('def f():\n    """It.\n\n    Raises\n    ------\n    CallError\n        No."""\n    raise CallError("n")', ""),
        ('def f():\n    """It."""\n    try:\n        raise ValueError\n    except ValueError:\n        g()', ""),
        ('def f():\n    """It."""\n    try:\n        g()\n    except OSError:\n        raise KeyError', "KeyError"),
        ('def f(x: int) -> int:\n    """By Beer\'s law."""', "without a source"),
        ('def f(x: int) -> int:\n    """By Beer\'s law (from memory)."""', ""),
        ('def _f(x: Array) -> int:\n    """It."""', ""),
    ],
)  # fmt: skip
def test_the_rules_see_what_is_left_out(tmp_path, code, fault):
    path = tmp_path / "made_up.py"
    path.write_text(code, encoding="utf-8")
    found = [f for thing in things(path) for f in faults(thing)]
    assert [fault in f for f in found] == ([True] if fault else [])
