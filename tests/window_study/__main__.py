"""Tints and solids of one world: `python -m tests.window_study --world judging --rows F`, then ``--from F`` to count.

Every case becomes rows of a CSV as soon as it is read; a second call goes on where the first one stopped, unless the
code has changed. One process; about 0.6 s a photo of vials and 1 s a heap.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from pathlib import Path

import click
import cv2

from tests.coverage_rows import write_rows
from tests.scenes.measured import WORLDS, World
from tests.tint_cases import HEAPS
from tests.window_study import heaps, tints
from tests.window_study.rows import Row, fingerprint, read_rows
from tests.window_study.tables import tables

TINTS: dict[str, Callable[[str, int, World], list[Row]]] = {
    "pairs": tints.pairs,
    "veils": tints.veils,
    "standards": tints.standards,
}
PARTS = (*TINTS, *HEAPS)
MANY = {"pairs": 240, "veils": 160, "standards": 6}  # cases of a part; of a sort of heaps 64
HEAPS_MANY = 64


def kind_of(part: str) -> str:
    """Which reader a part tries."""
    return "tint" if part in TINTS else "solid"


def case(code: str, part: str, number: int, world: World) -> list[Row]:
    """The rows of one case."""
    return TINTS[part](code, number, world) if part in TINTS else heaps.heap(code, part, number, world)


def run(  # noqa: PLR0917 - one option each
    parts: tuple[str, ...], first: int, count: int | None, world: World, path: Path, most: int | None = None
) -> None:
    """Work through the cases that the file does not hold yet, of this code and world."""
    prints = {kind: fingerprint(kind) for kind in ("tint", "solid")}
    old = [r for r in read_rows(path) if r.code == prints[kind_of(r.part)]]
    done = {(r.part, r.number, r.world) for r in old}
    write_rows(path, old, anew=True, of=Row)
    jobs = plan(parts, first, count)[:most]
    left = [job for job in jobs if (*job, world) not in done]
    spent = dict.fromkeys(parts, 0.0)
    for part, number in left:
        start = time.process_time()
        write_rows(path, case(prints[kind_of(part)], part, number, world), anew=False, of=Row)
        spent[part] += time.process_time() - start
    click.echo(f"{len(left)} cases read, {len(jobs) - len(left)} before")
    for part in parts:
        many = sum(name == part for name, _ in left)
        click.echo(f"{part}: {spent[part] / max(many, 1):.2f} s of processor time a case")


def plan(parts: tuple[str, ...], first: int, count: int | None) -> list[tuple[str, int]]:
    """(part, number) in an order of which every beginning is a fair sample of the whole."""
    many = {part: count or MANY.get(part, HEAPS_MANY) for part in parts}
    jobs = [
        ((n + 0.5) / many[part], place, part, first + n) for place, part in enumerate(parts) for n in range(many[part])
    ]
    return [(part, number) for _, _, part, number in sorted(jobs)]


@click.command()
@click.option("--n", type=int, help="Cases of each part (default: of each its own).")
@click.option("--first", default=50_000, show_default=True, help="Number of the first case.")
@click.option("--most", type=int, help="Stop after so many cases of the plan, whose beginnings are fair samples.")
@click.option("--part", "parts", multiple=True, type=click.Choice(PARTS), help="Only these (default: all).")
@click.option("--world", type=click.Choice(WORLDS), default="choosing", show_default=True)
@click.option("--rows", "path", type=click.Path(path_type=Path), help="The CSV to write and to go on with.")
@click.option("--from", "source", type=click.Path(path_type=Path, exists=True), help="Count these rows instead.")
def main(  # noqa: PLR0917 - one option each
    n: int | None,
    first: int,
    most: int | None,
    parts: tuple[str, ...],
    world: World,
    path: Path | None,
    source: Path | None,
) -> None:
    """Read and count, or only count."""
    if (path is None) == (source is None):
        raise click.UsageError("give --rows FILE to read photos, or --from FILE to count rows")
    if path is not None:
        cv2.setNumThreads(1)
        run(parts or PARTS, first, n, world, path, most)
    counted = [r for r in read_rows(path or source or Path()) if r.world == world and (not parts or r.part in parts)]
    click.echo(tables(counted))


if __name__ == "__main__":
    main()
