"""A bounded mutation run: small faults drawn with a seed, each against the quick tests that should see it.

In copies of the tree:  python -m tests.mutate [WORD ...] [--each N] [--seed S ...] [--jobs N] [--write PAPER.md]

``tests/data/mutation.toml`` says which tests should see faults of which file, and which faults change nothing that
anybody could notice, each with its reason. Of each file N logic mutants are drawn with each seed, and a third as many
constants. A process that has loaded the libraries is forked for each mutant, so it costs its tests alone; it is killed
when a test fails, when nothing can be imported, or when it takes far longer than the whole code does. WORD runs only
the files with it in their path. Ends with 1 where fewer than 85 % of the logic mutants are killed.
"""

import argparse
import compileall
import importlib
import multiprocessing
import os
import py_compile
import resource
import signal
import sys
import tempfile
import time
import tomllib
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from pathlib import Path

from tests.mutants import Mutant, mutants, sample
from tests.sabotage import ROOT, copy_of_tree

LIST = ROOT / "tests" / "data" / "mutation.toml"
AIM = 0.85  # of logic mutants that are not harmless
LONGEST_S = 600  # on the wall, for a process whose own time is bounded already
SLOWER, SPARE_S = 4, 5  # a mutant may take so many times the processor time of the whole code, and so much more
LIBRARIES = [
    "cv2",
    "numpy",
    "scipy.interpolate",
    "scipy.linalg",
    "scipy.optimize",
    "scipy.special",
    "scipy.stats",
    "skimage.color",
    "PIL.Image",
    "pydantic",
    "pint",
    "sqlalchemy",
    "click",
]
HEAD = (
    "| file | logic mutants killed | constant mutants killed | harmless, not tried | seeds | logic, before |\n"
    "|---|---|---|---|---|---|"
)
PREFACE = """# Mutation

Small faults put into the code, a draw for each file, and whether its quick tests fail:
`python -m tests.mutate --each 20 --seed 1 2 --write docs/mutation.md`, which also writes this page. Logic mutants
change a comparison, a sign, a condition, a returned value; constant mutants change a number by one or by 1.3. Where
tests were written for what a draw had shown, that draw flatters; "before" is the draw of seed 1 before that, of all
files then drawn 59 in 100.
"""
AFTERWORD = "Faults that change nothing anybody could notice (`tests/data/mutation.toml`):"
SURVIVED, KILLED, UNFIT = 0, (1, 2), 4  # exit codes of pytest: passed; failed or could not be imported; wrong call


@dataclass(frozen=True)
class Target:
    """One file with the tests that should see its faults: files or single tests, the quickest first.

    words: a ``-k`` expression. before: what a draw of seed 1 came to before tests were written for it.
    """

    file: str
    tests: tuple[str, ...]
    words: str = ""
    before: str = ""


@dataclass(frozen=True)
class Outcome:
    """What became of a mutant: the test that killed it, ``time``, ``import``, or nothing where it survived."""

    mutant: Mutant
    killer: str


def targets(path=LIST):
    """The files with their tests, checked to be there."""
    found = [
        Target(t["file"], tuple(t["tests"]), t.get("words", ""), t.get("before", ""))
        for t in tomllib.loads(path.read_text(encoding="utf-8"))["target"]
    ]
    lost = [f for t in found for f in (t.file, *t.tests) if not (ROOT / f.split("::")[0]).is_file()]
    if lost:
        raise SystemExit(f"no longer there: {', '.join(lost)}")
    return found


def harmless(path=LIST):
    """(file, line, change) to the reason why nobody could notice it."""
    tables = tomllib.loads(path.read_text(encoding="utf-8")).get("harmless", [])
    return {(t["file"], t["line"], change): t["why"] for t in tables for change in t["changes"]}


def passed_by(target, tree, note):
    """Exit code of pytest on the target's tests in this process; the failing test's name goes into ``note``."""
    import pytest

    class Witness:
        def pytest_runtest_logreport(self, report):
            if report.failed:
                note.write_text(report.nodeid, encoding="utf-8")

    for name in [name for name in sys.modules if name.split(".")[0] == "tests"]:
        del sys.modules[name]
    os.chdir(tree)
    sys.path[:] = [str(tree), *(p for p in sys.path if Path(p or ".").resolve() not in {ROOT, tree})]
    os.environ["PYTHONPATH"] = str(tree)
    call = ["-q", "-x", "-m", "not slow", "-p", "no:cacheprovider", "--assert=plain", "--tb=no", *target.tests]
    return int(pytest.main([*call, *(["-k", target.words] if target.words else [])], plugins=[Witness()]))


def forked(target, tree, note, seconds):
    """A process that runs the target's tests in a tree, bounded to so much processor time."""
    note.unlink(missing_ok=True)
    child = os.fork()
    if child:
        return child
    code = UNFIT
    try:
        os.setsid()
        resource.setrlimit(resource.RLIMIT_CPU, (seconds, seconds))
        with (tree.parent / f"{tree.name}.out").open("w") as out:
            os.dup2(out.fileno(), 1)
            os.dup2(out.fileno(), 2)
        code = passed_by(target, tree, note)
    finally:
        os._exit(code)


def ended(child):
    """How a process ended: exit code, or ``time`` where it ran out of it."""
    start = time.monotonic()
    while True:
        done, status = os.waitpid(child, os.WNOHANG)
        if done:
            return "time" if os.WIFSIGNALED(status) else os.WEXITSTATUS(status)
        if time.monotonic() - start > LONGEST_S:
            os.killpg(child, signal.SIGKILL)
        time.sleep(0.02)


def whole_time(target, tree):
    """Processor seconds of the target's tests on the whole code, which must pass.

    Raises
    ------
    SystemExit
        Where they do not pass.
    """
    note, before = tree.parent / f"{tree.name}.note", resource.getrusage(resource.RUSAGE_CHILDREN)
    code = ended(forked(target, tree, note, LONGEST_S))
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    if code != SURVIVED:
        output = (tree.parent / f"{tree.name}.out").read_text()
        raise SystemExit(f"{target.file}: its tests do not pass without any fault:\n{output[-2000:]}")
    return after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime


def tried(mutant, target, tree, seconds):
    """What becomes of one mutant; the tree is as before afterwards."""
    path, note = tree / target.file, tree.parent / f"{tree.name}.note"
    whole = path.read_text(encoding="utf-8")
    path.write_text(mutant.text, encoding="utf-8")
    try:
        code = ended(forked(target, tree, note, seconds))
    finally:
        path.write_text(whole, encoding="utf-8")
    if code == SURVIVED:
        return Outcome(mutant, "")
    if code != "time" and code not in KILLED:
        raise SystemExit(f"{mutant.file}:{mutant.number} {mutant.change}: pytest ended with {code}")
    return Outcome(mutant, "time" if code == "time" else note.read_text() if note.is_file() else "import")


def outcomes_of(target, tree, chosen, known):
    """Outcomes of the chosen mutants but those known to be harmless."""
    took = whole_time(target, tree)
    print(f"{target.file}: tests take {took:.1f} s", flush=True)
    found = []
    for mutant in chosen:
        if (mutant.file, mutant.line, mutant.change) in known:
            continue
        outcome = tried(mutant, target, tree, int(SLOWER * took + SPARE_S))
        found.append(outcome)
        if not outcome.killer:
            print(f"  SURVIVED {mutant.number} [{mutant.kind}] {mutant.line}\n      {mutant.change}", flush=True)
    return found


def prepared(tree):
    """A copy of the tree, compiled so that a changed file is compiled anew and all others are not."""
    copy_of_tree(tree)
    compileall.compile_dir(tree, quiet=2, invalidation_mode=py_compile.PycInvalidationMode.CHECKED_HASH)


def row(target, outcomes, spared, seeds):
    """One line of the table: killed of those tried, by kind, and how many of the draw are known to be harmless."""
    cells = [f"`{target.file}`"]
    for kind in ("logic", "constant"):
        of_kind = [o for o in outcomes if o.mutant.kind == kind]
        cells.append(f"{sum(bool(o.killer) for o in of_kind)} of {len(of_kind)}")
    return f"| {' | '.join(cells)} | {spared} | {', '.join(map(str, seeds))} | {target.before} |"


def warm():
    """Load what every test needs, and nothing of our own."""
    os.environ["PYTHONDONTWRITEBYTECODE"] = os.environ["PYTEST_DISABLE_PLUGIN_AUTOLOAD"] = "1"
    sys.dont_write_bytecode = True
    for name in LIBRARIES:
        importlib.import_module(name)


def draw(target, each, seeds):
    """The mutants of one target that any of the seeds draws, in the order of the file."""
    every = mutants(target.file, (ROOT / target.file).read_text(encoding="utf-8"))
    chosen = {id(m) for seed in seeds for m in sample(every, each, each // 3, seed)}
    return [m for m in every if id(m) in chosen]


def run(target, each, seeds):
    """Row of the table and outcomes of one target, in a copy of the tree of its own."""
    drawn = draw(target, each, seeds)
    with tempfile.TemporaryDirectory() as folder:
        tree = Path(folder).resolve() / "tree"
        prepared(tree)
        outcomes = outcomes_of(target, tree, drawn, harmless())
    line = row(target, outcomes, len(drawn) - len(outcomes), seeds)
    print(line, flush=True)
    return line, outcomes


def written(path, rows):
    """The paper with these rows in place of the old ones of their files; other files keep theirs."""
    old = path.read_text(encoding="utf-8").splitlines() if path.is_file() else []
    kept = {line.split("|")[1]: line for line in (*old, *rows) if line.startswith("| `")}
    why = [f"- `{file}`, `{line}`, {change}: {reason}" for (file, line, change), reason in harmless().items()]
    table = [HEAD, *(kept[name] for name in sorted(kept))]
    path.write_text("\n".join([PREFACE, *table, "", AFTERWORD, "", *why]) + "\n", encoding="utf-8")


def main():
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("words", nargs="*")
    parser.add_argument("--each", type=int, default=30, help="logic mutants of each file; a third as many constants")
    parser.add_argument("--seed", type=int, nargs="+", default=[1])
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--write", type=Path, help="the paper that takes the table")
    given = parser.parse_args()
    chosen = [t for t in targets() if not given.words or any(word in t.file for word in given.words)]
    warm()
    count = len(chosen)
    with ProcessPoolExecutor(given.jobs, mp_context=multiprocessing.get_context("fork")) as pool:
        done = list(pool.map(run, chosen, [given.each] * count, [given.seed] * count))
    logic = [o for _, outcomes in done for o in outcomes if o.mutant.kind == "logic"]
    killed = sum(bool(o.killer) for o in logic)
    print(f"\n{killed} of {len(logic)} logic mutants killed")
    if given.write:
        written(given.write, [line for line, _ in done])
    raise SystemExit(0 if killed >= AIM * len(logic) else 1)


if __name__ == "__main__":
    main()
