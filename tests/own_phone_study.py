"""What a remembered phone and light are worth: `python -m tests.own_phone_study`.

Every second setup of the coverage study has a user whose phone calibrated the profile
(``coverage_rows.scene_drawn``). The profile is made twice: from photos in as many lights (``buffer_scenes``), and
from photos in the light and at the place where the user reads. The user's photos are then read with each, and so are
the first ones with the second profile: the same phone elsewhere. Each photo is read twice, with the phone's name in
its file and without: known, and as a stranger's. ``SCENE_SHELF=FOLDER`` keeps the photos for the next run; ``--rows``
keeps each photo's row.
"""

from __future__ import annotations

import argparse
import csv
import os
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, dataclass, replace
from multiprocessing import get_context
from pathlib import Path

import numpy as np

from calibration.card_estimate import estimate_card
from calibration.gather import known_pad
from calibration.known_pads import KnownPads
from calibration.learn import fit_all, make_profile
from stripread.errors import Refused
from stripread.ph.profile import Profile, profile_from_text, profile_text
from stripread.ph.quality import KnownPhoto
from stripread.ph.read import read_ph
from stripread.strip.measure import Measured, measure
from tests.accuracy import buffer_scenes
from tests.coverage_rows import USERS_DRAWS, bottle_of, scene_drawn
from tests.photo_names import named
from tests.scenes.measured import WORLDS, World
from tests.scenes.scene import Scene
from tests.scenes.shelf import photo_bytes
from tests.scenes.strips import kind as strip_kind

KINDS = ("four", "universal")


@dataclass(frozen=True)
class OwnRow:
    """One photo by the phone that calibrated. read, low, high: with its name; ``plain_…``: without, as a stranger's."""

    kind: str
    setup: int
    calibrated: str  # in many lights, or here
    where: str  # the photo: at the user's place, or elsewhere
    own_bottle: bool
    ph: float
    known: str
    share: float
    status: str
    read: float
    low: float
    high: float
    plain_status: str
    plain_read: float
    plain_low: float
    plain_high: float


def profile_by(phone: str, scenes: Iterable[tuple[float, Scene]], kind: str) -> Profile:
    """A profile from named photos, through its file."""
    seen: list[tuple[Measured, float]] = []
    for ph, scene in scenes:
        try:
            seen.append((measure(named(photo_bytes(scene), phone), strip_kind(kind)), ph))
        except Refused:
            continue
    card = estimate_card([measured.samples for measured, _ in seen])
    known: list[KnownPads] = [known_pad(m, card, ph, 0.01, f"buffer{n}") for n, (m, ph) in enumerate(seen)]
    fit, evidence = fit_all(known, None, strip_kind(kind))
    photos = [KnownPhoto(k.photo_name, k.photo_sha256, k.ph, k.ph_sd, k.taken) for k in known]
    return profile_from_text(profile_text(make_profile(strip_kind(kind), fit, evidence, photos, card)), kind)


def run_setup(job: tuple[str, int, World, int]) -> list[OwnRow]:
    """Both profiles of one setup, and its user's photos read with them."""
    import cv2

    cv2.setNumThreads(1)
    kind, setup, world, reads = job
    phone = f"model {setup}"
    draws = range(USERS_DRAWS, USERS_DRAWS + reads)
    users = [(scene_drawn(kind, setup, draw, world=world), bottle_of(setup, draw) == setup) for draw in draws]
    many = list(buffer_scenes(kind, setup, world=world))
    home = users[0][0]
    here = [
        (ph, replace(scene, lamps=home.lamps, bench=home.bench, bench_seed=home.bench_seed, local_tone=0.0))
        for ph, scene in many
    ]
    elsewhere = [(scene, True) for _, scene in many]
    rows = []
    for calibrated, scenes, photos in (
        ("many lights", many, {"here": users}),
        ("here", here, {"here": users, "elsewhere": elsewhere}),
    ):
        profile = profile_by(phone, scenes, kind)
        rows += [
            row_of(kind, setup, calibrated, where, scene, profile, phone, own_bottle=own)
            for where, some in photos.items()
            for scene, own in some
        ]
    return rows


def row_of(  # noqa: PLR0917 - a row's own words
    kind: str, setup: int, calibrated: str, where: str, scene: Scene, profile: Profile, phone: str, *, own_bottle: bool
) -> OwnRow:
    """One photo read with its phone's name and without."""
    photo, nan = photo_bytes(scene), (float("nan"), float("nan"))
    got, plain = read_ph(named(photo, phone), profile), read_ph(photo, profile)
    assert scene.ph is not None
    value = [float("nan") if r.ph is None else r.ph for r in (got, plain)]
    return OwnRow(
        kind,
        setup,
        calibrated,
        where,
        own_bottle,
        scene.ph,
        got.taken_by.known,
        got.taken_by.share,
        got.status,
        value[0],
        *(got.interval or nan),
        plain.status,
        value[1],
        *(plain.interval or nan),
    )


def figures(rows: Sequence[OwnRow], *, plain: bool) -> str:
    """Mean error, coverage, width, doubtful, refused and confidently wrong, as cells of a table."""
    ph = np.array([r.ph for r in rows])
    fields = [(r.plain_read, r.plain_low, r.plain_high) if plain else (r.read, r.low, r.high) for r in rows]
    read, low, high = np.array(fields).T
    status = np.array([r.plain_status if plain else r.status for r in rows])
    held = (low <= ph) & (ph <= high)
    there = ~np.isnan(read)
    wrong = int(((status == "ok") & (np.abs(read - ph) > 0.5) & ~held).sum())
    error = np.abs(read - ph)[there]
    return (
        f"{error.mean():.3f} | {held.sum()} of {there.sum()} ({100 * held.sum() / there.sum():.1f} %) | "
        f"{(high - low)[there].mean():.2f} | {(status == 'doubtful').sum()} | {(status == 'refused').sum()} | {wrong}"
    )


def report(rows: Sequence[OwnRow]) -> str:
    """The table of ``docs/coverage.md``."""
    lines = [
        "| strip | calibrated | photo | read as | photos | mean error | held | width | doubtful | refused | wrong |",
        "| --- | --- | --- | --- | --- | --- | --- | --- | --- | --- | --- |",
    ]
    for kind in sorted({r.kind for r in rows}):
        for calibrated, where in (("many lights", "here"), ("here", "here"), ("here", "elsewhere")):
            some = [r for r in rows if (r.kind, r.calibrated, r.where) == (kind, calibrated, where)]
            known = [r for r in some if r.known == "phone and light"]
            for bottle in (None, True, False):
                part = [r for r in known if bottle is None or r.own_bottle == bottle]
                if part and not (bottle is not None and where == "elsewhere"):
                    name = {None: "known", True: "known, the profile's bottle", False: "known, another bottle"}[bottle]
                    lines += [
                        f"| {kind} | {calibrated} | {where} | {name} | {len(part)} | {figures(part, plain=False)} |",
                        f"| {kind} | {calibrated} | {where} | unnamed | {len(part)} | {figures(part, plain=True)} |",
                    ]
            other = [r for r in some if r.known != "phone and light"]
            if other:
                lines.append(
                    f"| {kind} | {calibrated} | {where} | other light | {len(other)} | {figures(other, plain=False)} |"
                )
    return "\n".join(lines)


def main() -> None:
    """Run it, or count the rows of a run."""
    ask = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    ask.add_argument("--world", choices=WORLDS, default="judging")
    ask.add_argument("--first", type=int, default=900)
    ask.add_argument(
        "--setups", type=int, default=6, help="of each kind; every second number, whose user's phone calibrated"
    )
    ask.add_argument("--reads", type=int, default=35)
    ask.add_argument("--kinds", default=",".join(KINDS))
    ask.add_argument("--rows", type=Path, help="write every photo's row here")
    ask.add_argument("--from", dest="source", type=Path, help="count these rows instead")
    ask.add_argument("--workers", type=int, default=os.cpu_count())
    given = ask.parse_args()
    if given.source is not None:
        print(report(read_rows(given.source)))
        return
    first = given.first + given.first % 2
    jobs = [
        (kind, first + 2 * n, given.world, given.reads) for n in range(given.setups) for kind in given.kinds.split(",")
    ]
    rows: list[OwnRow] = []
    with ProcessPoolExecutor(given.workers, get_context("spawn")) as pool:
        for part in pool.map(run_setup, jobs):
            rows += part
            print(f"{part[0].kind} {part[0].setup}: {len(part)} photos", flush=True)
            if given.rows is not None:
                write_rows(given.rows, rows)
    print(report(rows))


def write_rows(path: Path, rows: Sequence[OwnRow]) -> None:
    """All rows as CSV."""
    with path.open("w", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, list(asdict(rows[0])))
        writer.writeheader()
        writer.writerows(asdict(r) for r in rows)


def read_rows(path: Path) -> list[OwnRow]:
    """The way back."""
    words = {"kind", "calibrated", "where", "known", "status", "plain_status"}
    with path.open(newline="", encoding="utf-8") as file:
        return [
            OwnRow(
                **{
                    name: text
                    if name in words
                    else int(text)
                    if name == "setup"
                    else text == "True"
                    if name == "own_bottle"
                    else float(text)
                    for name, text in line.items()
                }  # type: ignore[arg-type]
            )
            for line in csv.DictReader(file)
        ]


if __name__ == "__main__":
    main()
