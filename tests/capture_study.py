"""How the capture assistant does on rendered streams: `python -m tests.capture_study --streams 400 --out rows.csv`.

Each stream of frames, good or bad, runs through the page's own modules in node. Where the assistant takes a photo, that
is rendered at full size at that moment and read with a profile of that card and bottle. Each stream becomes a row at
once; a second call goes on where the first stopped. `--from rows.csv --write` makes the tables of docs/capture.md.
"""

from __future__ import annotations

import csv
import hashlib
import io
import time
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path

import click
import cv2
import numpy as np
from PIL import Image

from service.web.assistant.numbers import script
from service.web.page_words import PAGE
from stripread.ph.profile import Profile, profile_from_text, profile_text
from stripread.ph.read import read_ph
from tests.accuracy import profile_of
from tests.live.node import MODULES, Assistant, Pixels
from tests.live.streams import KINDS, Shown, Stream, stream
from tests.scenes.measured import WORLDS, World

ROOT = Path(__file__).resolve().parents[1]
PAPER = ROOT / "docs" / "capture.md"
GOOD_SHARE = 0.4  # of the streams are good, a fifth mended, the others bad in one way each
SETUPS = 2  # cards with a bottle: each takes a profile
FIRST_SETUP = 900
PAUSE_S = 0.5  # after a photo that was not good enough
BEGIN, END = "<!-- study -->", "<!-- /study -->"


@dataclass(frozen=True)
class Row:
    """What came of one stream. Times in seconds; ``good_for_s`` counts from the end of what was wrong."""

    code: str
    world: str
    seed: int
    kind: str
    fault: str
    takes: bool
    released_s: float  # NaN: never
    good_for_s: float
    while_bad: bool
    thrown_away: int  # photos that were taken and not good enough
    status: str  # of the reading; empty without a photo
    reasons: str
    off: float  # of the pH
    said: str  # what was said longest
    ms: float  # of a frame in node, median


def code() -> str:
    """Fingerprint of the assistant's modules and numbers."""
    digest = hashlib.sha256(script().encode())
    for name in MODULES:
        digest.update((PAGE / name).read_bytes())
    return digest.hexdigest()[:12]


def kind_of(seed: int) -> str:
    """Which kind of stream a seed is: the same share in any stretch of seeds."""
    bad = KINDS[2:]
    place = seed % 20
    other = bad[(seed * 7 // 20 + place) % len(bad)]
    return "good" if place < 20 * GOOD_SHARE else "mended" if place % 3 == 0 else other


def setup_of(seed: int) -> int:
    """Whose card and bottle a stream shows."""
    return FIRST_SETUP + (seed // 20) % SETUPS


def kept_profile(setup: int, world: World, beside: Path) -> Profile:
    """The profile of a setup, kept in a file beside the rows."""
    path = beside.with_suffix(f".{world}-{setup}.toml")
    if not path.exists():
        path.write_text(profile_text(profile_of("four", setup, world=world)), encoding="utf-8")
    return profile_from_text(path.read_text(encoding="utf-8"), path.name)


def run(assistant: Assistant, seed: int, world: World, profile: Profile) -> Row:
    """Play one stream to the photo or to its end."""
    one = stream(seed, kind_of(seed), setup_of(seed), world)
    shown = Shown(one)
    assistant.begin()
    said: Counter[str] = Counter()
    times, thrown, best = [], 0, None
    at_s = resumed = 0.0
    while at_s < one.lasts_s:
        frame = shown.frame(at_s)
        told = assistant.frame(frame, 1000 * at_s, wait=one.wait(at_s))
        times.append(told["ms"])
        said[told["now"] or "good"] += 1
        if told["now"] is None and (best is None or told["seen"]["edge"] < best[0]):
            best = (told["seen"]["edge"], at_s, frame)
        elif told["now"] is not None:
            best = None
        if told["ready"] and at_s >= resumed:
            assert best is not None
            taken_s = at_s + one.lag_s if one.takes else best[1]
            pixels, data = shown.photo(taken_s) if one.takes else (best[2], as_jpeg(best[2]))
            if assistant.look(pixels)["code"] is None:
                return _row(one, world, profile, taken_s, (data, thrown, said, times))
            thrown += 1
            best, resumed = None, taken_s + PAUSE_S
            assistant.begin()
            at_s = resumed
        at_s += one.every_s
    return _row(one, world, profile, np.nan, (None, thrown, said, times))


def as_jpeg(pixels: Pixels) -> bytes:
    """A frame as the page keeps it."""
    out = io.BytesIO()
    Image.fromarray(pixels).save(out, "JPEG", quality=95)
    return out.getvalue()


def _row(
    one: Stream,
    world: World,
    profile: Profile,
    taken_s: float,
    got: tuple[bytes | None, int, Counter[str], list[float]],
) -> Row:
    data, thrown, said, times = got
    reading = read_ph(data, profile) if data else None
    value = reading.ph if reading and reading.ph is not None else np.nan
    return Row(
        code=code(),
        world=world,
        seed=one.seed,
        kind=one.kind,
        fault=one.fault or "",
        takes=one.takes,
        released_s=round(taken_s, 3),
        good_for_s=round(taken_s - (one.until_s if np.isfinite(one.until_s) else 0.0), 3),
        while_bad=bool(data) and one.is_bad(taken_s),
        thrown_away=thrown,
        status=reading.status if reading else "",
        reasons=" ".join(r.code for r in reading.reasons) if reading else "",
        off=round(float(value - one.scene.strips[0].strip.ph), 3),
        said=said.most_common(1)[0][0],
        ms=round(float(np.median(times)), 1),
    )


def read_rows(path: Path) -> list[Row]:
    """Rows that are there already.

    Raises
    ------
    click.ClickException
        If they are of other modules or numbers: rows of two versions must not be counted as one.
    """
    if not path.exists():
        return []
    with path.open(newline="", encoding="utf-8") as file:
        rows = [_parsed(row) for row in csv.DictReader(file)]
    if any(row.code != code() for row in rows):
        raise click.ClickException(f"{path} was made by another version of the assistant: take another --out")
    return rows


def _parsed(row: dict[str, str]) -> Row:
    kinds = {"bool": lambda v: v == "True", "int": int, "float": float, "str": str}
    return Row(**{f.name: kinds[str(f.type)](row[f.name]) for f in fields(Row)})  # type: ignore[arg-type,operator]


def _share(rows: Sequence[Row], true: Sequence[Row]) -> str:
    return f"{len(true)} of {len(rows)} ({100 * len(true) / len(rows):.1f} %)" if rows else "none"


def table(rows: Sequence[Row]) -> Iterator[str]:
    """The figures as Markdown."""
    taken = [r for r in rows if r.status]
    refused = [r for r in taken if r.status == "refused"]
    yield f"{len(rows)} streams, {len(taken)} photos taken; of these the reader refused {_share(taken, refused)}"
    codes = Counter(word for r in refused for word in r.reasons.split()[:1])
    yield f"(reasons: {', '.join(f'`{c}` {n}' for c, n in codes.most_common()) or 'none'})."
    yield ""
    yield "| streams | taken | while it was bad | refused then | half taken within, 95 % within, s | said longest |"
    yield "|---|---|---|---|---|---|"
    for kind in KINDS:
        mine = [r for r in rows if r.kind == kind]
        if not mine:
            continue
        got = [r for r in mine if r.status]
        bad = [r for r in got if r.while_bad]
        gone = [r for r in bad if r.status == "refused"]
        waited = [r.good_for_s for r in got if not r.while_bad]
        half = f"{np.median(waited):.1f}, {np.quantile(waited, 0.95):.1f}" if waited else ""
        words = ", ".join(f"{c} {n}" for c, n in Counter(r.said for r in mine).most_common(2))
        yield f"| {kind} ({len(mine)}) | {len(got)} | {len(bad)} | {len(gone)} | {half} | {words} |"
    yield ""
    for name, takes in (("photos taken by the camera", True), ("best frames", False)):
        mine = [r for r in taken if r.takes == takes]
        lost = [r for r in mine if r.status == "refused"]
        thrown = sum(r.thrown_away for r in rows if r.takes == takes)
        yield f"- {name}: {len(mine)}, refused {_share(mine, lost)}; thrown away before: {thrown}"
    near = [abs(r.off) for r in taken if r.status != "refused" and np.isfinite(r.off)]
    if near:
        plain = [r for r in taken if r.status == "ok"]
        yield f"- pH of those that were read: mean error {np.mean(near):.2f}; `ok` {_share(taken, plain)}"


@click.command()
@click.option("--streams", default=0, help="How many there shall be in all.")
@click.option("--first", default=0, show_default=True, help="Seed of the first.")
@click.option("--out", "--from", "out", type=click.Path(path_type=Path), default=Path("capture.csv"))
@click.option("--world", type=click.Choice(WORLDS), default="judging", show_default=True)
@click.option("--write", is_flag=True, help="Write the tables into docs/capture.md.")
def main(streams: int, first: int, out: Path, world: World, *, write: bool) -> None:
    """Play streams, keep a row of each, print the figures."""
    cv2.setNumThreads(1)
    rows = read_rows(out)
    there = {row.seed for row in rows}
    began = time.process_time()
    with Assistant() as assistant, out.open("a", newline="", encoding="utf-8") as file:
        sheet = csv.DictWriter(file, [f.name for f in fields(Row)])
        if not rows:
            sheet.writeheader()
        for seed in range(first, first + streams):
            if seed not in there:
                rows.append(run(assistant, seed, world, kept_profile(setup_of(seed), world, out)))
                sheet.writerow(asdict(rows[-1]))
                file.flush()
    text = "\n".join(table(rows))
    click.echo(f"{text}\n{time.process_time() - began:.0f} s of this process's time")
    if write:
        paper = PAPER.read_text(encoding="utf-8")
        before, _, rest = paper.partition(BEGIN)
        PAPER.write_text(f"{before}{BEGIN}\n{text}\n{END}{rest.partition(END)[2]}", encoding="utf-8")


if __name__ == "__main__":
    main()
