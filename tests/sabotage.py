"""Sabotage as proof: faults put into the code one at a time, each of which a quick test has to notice.

Run in a copy of the tree:  python -m tests.sabotage [WORD ...] [--jobs N]

The faults stand in ``tests/data/sabotages.toml``: file, the text that is there, the text that takes its place, and the
test file that must fail. Each test file is run unharmed first. Ends with 1 where a fault goes unseen, and with 2 where
a text is no longer there (then the list is to be brought up to date). WORD runs only the faults with it in their name.
"""

import argparse
import re
import shutil
import subprocess
import sys
import tempfile
import tomllib
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).resolve().parents[1]
LIST = ROOT / "tests" / "data" / "sabotages.toml"
PARTS = ("stripread", "calibration", "service", "tests")
LONGEST_S = 300


@dataclass(frozen=True)
class Fault:
    """One fault: its name, the file, the text there and in its place, the test file that has to fail."""

    name: str
    file: str
    old: str
    new: str
    test: str


def faults(path=LIST):
    """The list, checked.

    Raises
    ------
    SystemExit
        With 2 and the names where a text is not in its file exactly once.
    """
    found = [Fault(**table) for table in tomllib.loads(path.read_text(encoding="utf-8"))["fault"]]
    lost = [f.name for f in found if (ROOT / f.file).read_text(encoding="utf-8").count(f.old) != 1]
    if lost:
        print(f"not there exactly once any more: {', '.join(lost)}", file=sys.stderr)
        raise SystemExit(2)
    return found


def copy_of_tree(to):
    """What the tests need of the tree, in a new folder."""
    for part in PARTS:
        shutil.copytree(ROOT / part, to / part, ignore=shutil.ignore_patterns("__pycache__"))
    for file in (*ROOT.glob("*.toml"), *ROOT.glob("*.md")):
        shutil.copy(file, to)
    shutil.copytree(ROOT / "docs", to / "docs")


def failing_test(tree, test):
    """Name of the first quick test of this file that fails in the tree, or nothing."""
    # -B: a file put back within the second of its fault would else be run from the fault's compiled form
    call = [
        sys.executable,
        "-B",
        "-m",
        "pytest",
        "-q",
        "-x",
        "-m",
        "not slow",
        "-p",
        "no:cacheprovider",
        "--tb=no",
        test,
    ]
    run = subprocess.run(call, cwd=tree, capture_output=True, text=True, timeout=LONGEST_S, check=False)
    if run.returncode == 0:
        return ""
    found = re.search(r"^(?:FAILED|ERROR) (\S.*?)(?: - .*)?$", run.stdout, re.MULTILINE)
    if run.returncode != 1 or found is None:
        raise SystemExit(f"{test} did not run:\n{run.stdout[-2000:]}{run.stderr[-2000:]}")
    return found[1].split("::", 1)[-1]


def tried(fault, tree):
    """Name of the test that notices the fault, or nothing; the tree is as before afterwards."""
    path = tree / fault.file
    whole = path.read_text(encoding="utf-8")
    path.write_text(whole.replace(fault.old, fault.new), encoding="utf-8")
    try:
        return failing_test(tree, fault.test)
    finally:
        path.write_text(whole, encoding="utf-8")


def share(jobs, work):
    """``work(tree, item)`` for lists of items, one list a tree of its own."""

    def one(items):
        with tempfile.TemporaryDirectory() as folder:
            tree = Path(folder)
            copy_of_tree(tree)
            return [work(tree, item) for item in items]

    with ThreadPoolExecutor(len(jobs)) as pool:
        return [result for results in pool.map(one, jobs) for result in results]


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("words", nargs="*")
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--write", action="store_true", help="the tests that saw them, into sabotages_seen.txt")
    given = parser.parse_args()
    chosen = [f for f in faults() if not given.words or any(word in f.name for word in given.words)]
    tests = sorted({f.test for f in chosen})
    broken = share(
        [tests[n :: given.jobs] for n in range(given.jobs)], lambda tree, test: (test, failing_test(tree, test))
    )
    for test, name in broken:
        if name:
            raise SystemExit(f"{test} fails without any fault: {name}")

    sees = set()

    def work(tree, fault):
        name = tried(fault, tree)
        sees.add(f"{fault.test.partition('::')[0]}::{name.partition('[')[0]}")
        print(f"| {fault.name} | {fault.file} | {name or '**NOT SEEN**'} |", flush=True)
        return name

    print("| fault | in | seen by |\n|---|---|---|")
    seen = share([chosen[n :: given.jobs] for n in range(given.jobs)], work)
    if given.write and all(seen) and not given.words:
        (ROOT / "tests" / "data" / "sabotages_seen.txt").write_text("\n".join(sorted(sees)) + "\n", encoding="utf-8")
    print(f"\n{sum(map(bool, seen))} of {len(seen)} faults were seen")
    raise SystemExit(0 if all(seen) else 1)


if __name__ == "__main__":
    main()
