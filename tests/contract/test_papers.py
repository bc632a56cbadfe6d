"""Files that the documents name are there: a path ends in one, or stands in a room named so."""

import re
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[2]
PAPERS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
NAMED = re.compile(r"`((?:[\w-]+/)*[\w-]+\.(?:py|toml|csv|json|j2))`")
USERS_OWN = {"changes.csv", "chart.csv", "buffers.csv", "profile.toml", "strip.toml", "rows.csv", "check.json"}


@pytest.fixture(scope="module")
def files():
    rooms = ("stripread", "calibration", "service", "tests", "docs", ".ci")
    found = [path for room in rooms for path in (ROOT / room).rglob("*") if path.is_file()]
    return [f"/{path.relative_to(ROOT).as_posix()}" for path in [*found, ROOT / "pyproject.toml"]]


@pytest.mark.parametrize("paper", PAPERS, ids=lambda path: path.name)
def test_files_named_in_documents_are_there(paper, files):
    named = set(NAMED.findall(paper.read_text(encoding="utf-8"))) - USERS_OWN
    gone = [name for name in named if not any(path.endswith(f"/{name}") for path in files)]
    assert not gone
