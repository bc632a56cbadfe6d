"""The changelog parses: known headings, newest version first, and the newest is this one or not released yet."""

import re
import tomllib
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
KINDS = {"Added", "Changed", "Deprecated", "Removed", "Fixed", "Security"}  # Keep a Changelog 1.1.0


def _lines():
    return (ROOT / "docs" / "changelog.md").read_text(encoding="utf-8").splitlines()


def test_headings_are_known():
    for line in _lines():
        if line.startswith("### "):
            assert line[4:] in KINDS, line
        elif line.startswith("## "):
            assert re.fullmatch(r"## \[(Unreleased|\d+\.\d+\.\d+)\]( - \d{4}-\d\d-\d\d)?", line), line


def test_newest_version_is_this_one():
    names = [match[1] for line in _lines() if (match := re.match(r"## \[(.+?)\]", line))]
    released = [name for name in names if name != "Unreleased"]
    assert names[0] in {"Unreleased", released[0]}
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert released[0] == project["version"]
    assert released == sorted(released, key=lambda name: [int(n) for n in name.split(".")], reverse=True)
