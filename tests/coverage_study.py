"""Do the intervals hold what they promise: `python -m tests.coverage_study`, then the same with `--from rows.csv`.

Renders photos over printers, lots, phones, lights and strips, one in four a hard scene, and reads them with profiles
made by the calibration's own code from other rendered photos (see ``tests/accuracy.py``). Every photo becomes a row of
a CSV as soon as its setup is done; a second call goes on where the first one stopped, unless the code has changed.
``--from`` only counts: it makes the pictures and the tables of ``docs/coverage.md`` (made-up world), of
``docs/coverage-measured.md`` (``--world judging``) and, of rows of both, of ``docs/measured-world.md``.
``--render`` only fills the shelf.
``SCENE_SHELF=FOLDER`` keeps photos and profiles for the next run.
"""

from __future__ import annotations

import argparse
import hashlib
import os
import sys
import time
from concurrent.futures import ProcessPoolExecutor, as_completed
from multiprocessing import get_context
from pathlib import Path

import calibration
import stripread
from stripread.errors import CallError
from stripread.ph.profile import Profile, load_profile, profile_from_text, profile_text
from tests.accuracy import buffer_scenes, profile_of
from tests.coverage_rows import NO_PROFILE, USERS_DRAWS, Row, blank_row, read_row, read_rows, scene_drawn, write_rows
from tests.scenes import shelf
from tests.scenes.measured import WORLDS, World
from tests.scenes.shelf import photo_bytes

# Photos a setup by strangers; half as many by the setup's one user.
READS = {"four": 50, "universal": 40, "three": 34, "bromothymol": 34, "roll": 34}
RARE = 10  # of these kinds one setup for every so many of the first two
FIRST = 200
DOCS = Path(__file__).parents[1] / "docs"


def fingerprint(*, rendered: bool = True) -> str:
    """Fingerprint of everything that a row depends on: reader, calibration; of rendered photos renderer and bounds."""
    digest = hashlib.sha256(shelf._renderer() if rendered else b"")
    here = Path(__file__).parent
    names = ("accuracy.py", "coverage_rows.py", "judged.py", "scenes/bound.py") if rendered else ("judged.py",)
    files = [here / name for name in names]
    for package in (stripread, calibration):
        files += sorted(f for f in Path(package.__path__[0]).rglob("*") if f.suffix in {".py", ".csv", ".toml"})
    for file in files:
        digest.update(file.read_bytes())
    return digest.hexdigest()[:12]


def plan(setups: int, first: int, kinds: list[str]) -> list[tuple[str, int]]:
    """(kind, setup) in an order of which every part is a fair sample of the whole."""
    jobs = []
    for n in range(setups):
        for kind in kinds:
            if kind in ("four", "universal"):
                jobs.append((kind, first + n))
            elif n % RARE == 0:
                jobs.append((kind, first + n // RARE))
    return jobs


def kept_profile(code: str, world: World, kind: str, setup: int) -> Profile:
    """The setup's profile, from the shelf if the same code has made it before. It always goes through its file."""
    folder = os.environ.get("SCENE_SHELF")
    if not folder:
        return profile_from_text(profile_text(profile_of(kind, setup, world=world)), kind)
    path = Path(folder) / "profiles" / f"{world}-{kind}-{setup}-{code}.toml"
    if not path.exists():
        path.parent.mkdir(parents=True, exist_ok=True)
        scratch = path.with_suffix(f".{os.getpid()}")
        scratch.write_text(profile_text(profile_of(kind, setup, world=world)), encoding="utf-8")
        scratch.replace(path)
    return load_profile(path)


def run_setup(code: str, world: World, job: tuple[str, int, int]) -> list[Row]:
    """All photos of one setup; a setup that gives no profile is told of by one row."""
    import cv2

    cv2.setNumThreads(1)
    kind, setup, reads = job
    try:
        profile = kept_profile(code, world, kind, setup)
    except CallError as problem:
        print(f"{kind} {setup}: no profile: {problem}", file=sys.stderr)
        return [blank_row(code, world, kind, setup, status=NO_PROFILE)]
    return [read_row(code, kind, setup, draw, profile, world=world) for draw in draws_of(reads)]


def draws_of(reads: int) -> list[int]:
    """Numbers of a setup's photos: those by strangers, and half as many by its user."""
    return [*range(reads), *range(USERS_DRAWS, USERS_DRAWS + reads // 2)]


def render_setup(world: World, job: tuple[str, int, int]) -> str:
    """Every photo of one setup onto the shelf, read by nobody."""
    import cv2

    cv2.setNumThreads(1)
    kind, setup, reads = job
    for _, scene in buffer_scenes(kind, setup, world=world):
        photo_bytes(scene)
    for draw in draws_of(reads):
        photo_bytes(scene_drawn(kind, setup, draw, world=world))
    return f"{kind} {setup}"


def render(jobs: list[tuple[str, int, int]], world: World, workers: int) -> None:
    """Fill the shelf, for a study to come: a photo stays whatever becomes of the reader."""
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:
        for future in as_completed([pool.submit(render_setup, world, job) for job in jobs]):
            print(future.result(), flush=True)


def run(jobs: list[tuple[str, int, int]], world: World, path: Path, workers: int) -> None:
    """Work through the jobs, each setup's rows written when it is done."""
    code = fingerprint()
    old = [r for r in read_rows(path) if r.code == code] if path.exists() else []
    of_others = [r for r in old if r.world != world]
    old = [r for r in old if r.world == world]
    done = {(r.kind, r.setup) for r in old if r.status == NO_PROFILE}
    for kind, setup, reads in jobs:
        if sum((r.kind, r.setup) == (kind, setup) for r in old) >= reads + reads // 2:
            done.add((kind, setup))
    kept = [r for r in old if (r.kind, r.setup) in done]
    write_rows(path, of_others + kept, anew=True)
    left = [job for job in jobs if job[:2] not in done]
    start, count = time.monotonic(), 0
    print(f"{len(kept)} photos read before, {len(left)} setups to go", flush=True)
    for name in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"):
        os.environ.setdefault(name, "1")  # a process for each core, not a crowd of threads
    with ProcessPoolExecutor(workers, get_context("spawn")) as pool:  # fresh ones, which heed the line above
        for n, future in enumerate(as_completed([pool.submit(run_setup, code, world, job) for job in left]), 1):
            rows = future.result()
            write_rows(path, rows, anew=False)
            count += len(rows)
            worst = max((abs(r.error) for r in rows if r.answered), default=0.0)
            told = f"{rows[0].kind} {rows[0].setup}: worst {worst:.2f}, wrong {sum(r.wrong for r in rows)}"
            spent = time.monotonic() - start
            print(f"{told}; {n} of {len(left)} setups, {count} photos in {spent:.0f} s", flush=True)


def main() -> None:
    """Run, or count."""
    ask = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    ask.add_argument("--setups", type=int, default=50, help="printers of the kinds four and universal")
    ask.add_argument("--first", type=int, default=FIRST)
    ask.add_argument("--world", choices=WORLDS, default="made-up", help="made-up, or a half of the measured world")
    ask.add_argument("--render", action="store_true", help="only put the photos on the shelf")
    ask.add_argument("--kinds", default=",".join(READS))
    ask.add_argument("--reads", type=int, help="photos a setup by strangers, for a short try")
    ask.add_argument("--rows", type=Path, default=Path("coverage-rows.csv"))
    ask.add_argument("--workers", type=int, default=os.cpu_count())
    ask.add_argument("--from", dest="source", type=Path, help="count these rows instead")
    ask.add_argument("--out", type=Path, default=DOCS, help="folder of the pages and their pictures")
    given = ask.parse_args()
    if given.source is None:
        kinds = given.kinds.split(",")
        jobs = [(kind, setup, given.reads or READS[kind]) for kind, setup in plan(given.setups, given.first, kinds)]
        if given.render:
            if not os.environ.get("SCENE_SHELF"):
                ask.error("--render needs SCENE_SHELF=FOLDER to put the photos in")
            render(jobs, given.world, given.workers)
            return
        run(jobs, given.world, given.rows, given.workers)
    from tests.coverage_worlds import write_pages

    write_pages(read_rows(given.source or given.rows), given.out)


if __name__ == "__main__":
    main()
