"""Two worlds side by side, for ``docs/measured-world.md``, and each world's own page of coverage."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from tests import coverage_tables as t
from tests.coverage_page import HEAD, PAIR, between, write_page
from tests.coverage_rows import Row
from tests.coverage_setups import by_setup
from tests.scenes.measured import World

# The page of each world that the docs show; the choosing half is for choosing, not for showing.
PAGES: dict[World, str] = {"made-up": "coverage", "judging": "coverage-measured"}
WORDS: dict[World, str] = {"made-up": "made-up", "judging": "measured"}
MEASURED_HEAD = (
    "# Do the intervals hold what they promise, with measured cameras, lamps and prints?\n\n"
    "The judging half of the [measured world](measured-world.md): no number of the reader was chosen on it.\n"
)


def write_pages(rows: Sequence[Row], folder: Path) -> None:
    """A page for each world there are rows of, and both side by side where there are both."""
    worlds = {world: [r for r in rows if r.world == world] for world in PAGES}
    for world, part in worlds.items():
        if part:
            write_page(part, folder, PAGES[world], HEAD if world == "made-up" else MEASURED_HEAD)
    if all(worlds.values()):
        between(folder / "measured-world.md", side_by_side(worlds), "# A measured world\n")


def side_by_side(worlds: dict[World, list[Row]]) -> str:
    """Figures of both worlds in the same lines."""
    photos = {world: t.photos(rows) for world, rows in worlds.items()}
    strangers = {world: [r for r in rows if not r.by_user] for world, rows in photos.items()}
    counts = ", ".join(f"{len(rows):,} photos {WORDS[world]}" for world, rows in photos.items())
    wrong = sum(r.wrong for rows in photos.values() for r in rows)
    codes = ", ".join(sorted({r.code for rows in worlds.values() for r in rows}))
    of_setups = {f"strangers, {WORDS[w]}": rows for w, rows in strangers.items()}
    return "\n\n".join(
        [
            f"{counts}; confidently wrong: {wrong} of {sum(map(len, photos.values())):,}. Code {codes}. All tables but "
            "the second are of photos by strangers, whose intervals are the hard part; the rest stands on each world's "
            "own page: " + ", ".join(f"[{WORDS[w]}]({PAGES[w]}.md)" for w in photos) + ".",
            "**Ordinary light, and hard**\n\n" + by_strip(strangers),
            "**One user each**: one phone, one bottle, one bench\n\n"
            + by_strip({w: [r for r in rows if r.by_user] for w, rows in photos.items()}),
            "**By band of 1 pH**, ordinary light\n\n" + by_band(strangers),
            "**By setup**\n\n" + by_setup(of_setups),
            "**Doubts and refusals**, ordinary light, in 100 photos\n\n" + by_reason(strangers),
        ]
    )


def by_strip(worlds: dict[World, list[Row]]) -> str:
    """All figures by kind of strip, light and world."""
    lines: list[list[object]] = []
    kinds = sorted({r.kind for rows in worlds.values() for r in rows})
    for kind in [*kinds, "all"]:
        for hard in (False, True):
            for world, rows in worlds.items():
                some = [r for r in rows if r.hard == hard and kind in (r.kind, "all")]
                if some:
                    lines.append([kind, "hard" if hard else "good", WORDS[world], *t.figures(some)])
    return t.table(["strip", "light", "world", *t.FIGURES], lines)


def by_band(worlds: dict[World, list[Row]]) -> str:
    """Mean error and coverage in each band of 1 pH, for the kinds with many photos."""
    head, columns = ["pH from"], []
    for kind in PAIR:
        for world, rows in worlds.items():
            head += [f"{kind}, {WORDS[world]}: error", "coverage"]
            columns.append(t.groups([r for r in t.answered(rows) if r.kind == kind and not r.hard], t.band))
    lines: list[list[object]] = []
    for band in sorted({int(name) for column in columns for name in column}):
        line: list[object] = [band]
        for column in columns:
            part = column.get(str(band), [])
            line += [f"{sum(abs(r.error) for r in part) / len(part):.3f}", t.coverage(part)] if part else ["-", "-"]
        lines.append(line)
    return t.table(head, lines)


def by_reason(worlds: dict[World, list[Row]]) -> str:
    """How often each doubt and refusal is found, by kind and world."""
    head, columns = ["reason"], []
    for kind in PAIR:
        for world, rows in worlds.items():
            part = [r for r in rows if r.kind == kind and not r.hard]
            head.append(f"{kind}, {WORDS[world]}")
            columns.append(part)
    codes = sorted({code for part in columns for r in part for code in r.reasons.split()})
    shares = [[t.share(part, lambda r, c=code: c in r.reasons.split()) for part in columns] for code in codes]  # type: ignore[misc]
    told = sorted(zip(codes, shares, strict=True), key=lambda line: -sum(s.hits for s in line[1]))
    return t.table(head, [[code, *(f"{100 * s.value:.1f}" for s in each)] for code, each in told])
