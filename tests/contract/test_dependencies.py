"""Each dependency that pyproject.toml declares has its line in docs/dependencies.md, with a purpose and a licence."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
ROW = re.compile(r"^\| `([\w-]+)` \| (\S[^|]*\S) \| (\S[^|]*\S) \|$", re.MULTILINE)


def _declared():
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    groups = [project["dependencies"], *project["optional-dependencies"].values()]
    return {re.match(r"[\w-]+", line)[0].lower() for group in groups for line in group}


def test_each_dependency_has_one_line():
    names = [name for name, _, _ in ROW.findall((ROOT / "docs" / "dependencies.md").read_text(encoding="utf-8"))]
    assert len(names) == len(set(names))
    assert sorted(names) == sorted(_declared())


def test_the_paper_is_linked():
    assert "docs/dependencies.md" in (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_no_test_is_skipped_for_want_of_a_package():
    """What the README's command installs is imported outright: skipped without a word, a check would prove nothing."""
    skipping = re.compile(r"\.importorskip\(|except (?:ImportError|ModuleNotFoundError)")
    assert [path.name for path in (ROOT / "tests").rglob("*.py") if skipping.search(path.read_text("utf-8"))] == []
