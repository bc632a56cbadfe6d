"""Which tests are not quick: ``python -m tests.slow_tests`` measures them and writes ``tests/data/slow_tests.csv``.

A test whose processor time, over all of its cases, is above ``LIMIT`` gets the mark ``slow`` from that list, beside
those that carry the mark in their file (browsers, a process a call). What is left is the quick suite. Quick stay those
that see a fault put in on purpose: by ``tests/data/sabotages_seen.txt`` (`python -m tests.sabotage --write`), and
the files of ``tests/data/mutation.toml``. Both commands run quick tests alone.
"""

from __future__ import annotations

import csv
import os
import re
import resource
import subprocess
import sys
from collections import Counter
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import click
import pytest

LIMIT = 0.25  # s of processor time
LIST = Path(__file__).parent / "data" / "slow_tests.csv"
SEES = Path(__file__).parent / "data" / "sabotages_seen.txt"
DRAWN = Path(__file__).parent / "data" / "mutation.toml"
_OUT = "SLOW_TESTS_OUT"
_spent: Counter[str] = Counter()


@cache
def slow_tests() -> frozenset[str]:
    """Tests on the list, as ``file::function``."""
    with LIST.open(encoding="utf-8") as file:
        return frozenset(row["test"] for row in csv.DictReader(file))


def function_of(nodeid: str) -> str:
    """A test without its case."""
    return nodeid.partition("[")[0]


def _processor_time() -> float:
    own, children = resource.getrusage(resource.RUSAGE_SELF), resource.getrusage(resource.RUSAGE_CHILDREN)
    return own.ru_utime + own.ru_stime + children.ru_utime + children.ru_stime


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    """Count what a test takes, its fixtures included."""
    before = _processor_time()
    result = yield
    _spent[function_of(item.nodeid)] += _processor_time() - before
    return result


def pytest_sessionfinish() -> None:
    """Write down what was counted, where the command asked for it."""
    if _OUT in os.environ:
        with open(os.environ[_OUT], "w", encoding="utf-8", newline="") as file:
            csv.writer(file).writerows((f"{spent:.2f}", test) for test, spent in _spent.items())


@click.command()
@click.option("--times", type=click.Path(path_type=Path), help="Measured times (seconds,test); else they are measured.")
def main(times: Path | None) -> None:
    """Measure every test that has no mark of its own, in one process, and write the list."""
    if times is None:
        times = Path("test_times.csv")
        LIST.write_text("seconds,test\n", encoding="utf-8")
        call = [sys.executable, "-m", "pytest", "-q", "-m", "not slow", "-p", "tests.slow_tests"]
        subprocess.run(call, env={**os.environ, _OUT: str(times)}, check=False)
    spent: Counter[str] = Counter()
    for seconds, test in csv.reader(times.read_text(encoding="utf-8").splitlines()):
        spent[function_of(test)] += float(seconds)
    sees = set(SEES.read_text(encoding="utf-8").split())
    drawn = set(re.findall(r"tests/[\w/]+\.py", DRAWN.read_text(encoding="utf-8")))
    over = {test for test, seconds in spent.items() if seconds > LIMIT}
    listed = sorted(test for test in over - sees if test.partition("::")[0] not in drawn)
    with LIST.open("w", encoding="utf-8", newline="") as file:
        writer = csv.writer(file, lineterminator="\n")
        writer.writerow(("seconds", "test"))
        writer.writerows((f"{spent[test]:.1f}", test) for test in listed)
    left = sum(spent.values()) - sum(spent[test] for test in listed)
    print(f"{len(listed)} tests over {LIMIT} s are slow; {left:.0f} s are left for {len(spent) - len(listed)}")


if __name__ == "__main__":
    main()
