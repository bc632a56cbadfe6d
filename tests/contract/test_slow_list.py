"""The list of slow tests names tests that are there, and none that a fault put in on purpose has to be seen by."""

import ast
import re
from pathlib import Path

from tests.slow_tests import DRAWN, SEES, slow_tests

ROOT = Path(__file__).resolve().parents[2]


def functions(file: str) -> set[str]:
    tree = ast.parse((ROOT / file).read_text(encoding="utf-8"))
    return {f"{file}::{node.name}" for node in ast.walk(tree) if isinstance(node, ast.FunctionDef)}


def test_every_test_of_the_list_is_there():
    listed = slow_tests()
    assert listed
    known = set().union(*(functions(file) for file in {test.partition("::")[0] for test in listed}))
    assert listed - known == set()


def test_what_sees_faults_stays_quick():
    seeing = set(SEES.read_text(encoding="utf-8").split())
    assert slow_tests().isdisjoint(seeing)
    drawn = set(re.findall(r"tests/[\w/]+\.py", DRAWN.read_text(encoding="utf-8")))
    assert not {test for test in slow_tests() if test.partition("::")[0] in drawn}
