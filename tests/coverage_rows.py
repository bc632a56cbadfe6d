"""One rendered photo read, as a row of a table: what was true, what was said, and how well it could be known at all."""

from __future__ import annotations

import csv
from collections.abc import Sequence
from dataclasses import asdict, dataclass, fields, replace
from pathlib import Path
from typing import Any

from stripread.ph.profile import Profile
from stripread.ph.read import trace_ph
from tests.accuracy import scene_of
from tests.judged import NAN, Judged, outcome
from tests.scenes.bound import scene_bounds
from tests.scenes.measured import World
from tests.scenes.scene import POOR, Scene
from tests.scenes.shelf import photo_bytes

NO_PROFILE = "no profile"
HARD_EVERY = 4  # one scene in so many is a hard one
USERS_DRAWS = 5_000  # draws from this number on are one user's: one phone, one bottle, one bench
OTHER_BOTTLE = 10_000  # added to the number of a strip's lot where it is not the one that the profile was made with
USERS_BOTTLE = 1_000_000  # added to the setup's number for its user's own bottle


@dataclass(frozen=True)
class Row(Judged):
    """One rendered photo. ``bound_…``: Cramér-Rao standard deviations, see ``scenes/bound.py``."""

    code: str  # fingerprint of the reader and the renderer
    world: World
    kind: str
    setup: int
    draw: int
    ph: float
    phone: int
    lamp: str  # the main one
    lamps: str
    hard: bool
    trouble: str
    local_tone: float
    bound_noise: float
    bound_strip: float
    bound_lot: float

    @property
    def truth(self) -> float:
        """The true pH."""
        return self.ph

    @property
    def by_user(self) -> bool:
        """Whether the photo is of the setup's one user, and not of a stranger."""
        return self.draw >= USERS_DRAWS


def bottle_of(setup: int, draw: int) -> int:
    """The lot of a photo's strip: half are of the bottle that the profile was made with, half of others.

    A user has one bottle: it is the profile's in every second pair of setups.
    """
    if draw >= USERS_DRAWS:
        return setup if (setup // 2) % 2 == 0 else USERS_BOTTLE + setup
    return setup if (draw // HARD_EVERY) % 2 == 0 else OTHER_BOTTLE + 100 * setup + draw


def trouble_of(scene: Scene, hard: bool) -> str:
    """What makes a hard scene's light hard, told from its lamps."""
    if not hard:
        return "none"
    if any(lamp.wall is not None for lamp in scene.lamps):
        return "coloured wall"
    return "poor lamp" if scene.lamps[0].spectrum in POOR else "two lamps"


def blank_row(code: str, world: World, kind: str, setup: int, draw: int = 0, *, status: str) -> Row:
    """A row without a photo."""
    scene = (0, "", "", False, "none", 0.0)
    return Row(code, world, kind, setup, draw, NAN, *scene, NAN, NAN, NAN, status=status)


def scene_drawn(kind: str, setup: int, draw: int, *, world: World = "made-up") -> Scene:
    """The photo's scene: a stranger's phone and light, or those of the setup's one user.

    The user's phone is the one that the profile was made with in every second setup. The user's light and table are the
    same in every photo and no hard ones; pH, strip and how the phone is held change.
    """
    hard = draw < USERS_DRAWS and (draw + 1) % HARD_EVERY == 0
    scene = scene_of(kind, setup, draw, hard, bottle_of(setup, draw), world=world)
    if draw < USERS_DRAWS:
        return scene
    home = scene_of(kind, setup, USERS_DRAWS, world=world)
    own = setup if setup % 2 == 0 else home.phone_seed
    return replace(scene, phone_seed=own, lamps=home.lamps, bench=home.bench, bench_seed=home.bench_seed)


def read_row(code: str, kind: str, setup: int, draw: int, profile: Profile, *, world: World = "made-up") -> Row:
    """Render (or take from the shelf) one photo, read it, and say what came of it."""
    scene = scene_drawn(kind, setup, draw, world=world)
    hard = draw < USERS_DRAWS and (draw + 1) % HARD_EVERY == 0
    assert scene.ph is not None
    bounds = scene_bounds(scene)
    return Row(
        code=code,
        world=world,
        kind=kind,
        setup=setup,
        draw=draw,
        ph=scene.ph,
        phone=scene.phone_seed,
        lamp=scene.lamps[0].spectrum,
        lamps="+".join(lamp.spectrum + (" off a wall" if lamp.wall is not None else "") for lamp in scene.lamps),
        hard=hard,
        trouble=trouble_of(scene, hard),
        local_tone=scene.local_tone,
        **outcome(trace_ph(photo_bytes(scene), profile), scene.ph),
        bound_noise=bounds.noise,
        bound_strip=bounds.strip,
        bound_lot=bounds.lot,
    )


def write_rows(path: Path, rows: Sequence[Any], *, anew: bool, of: type = Row) -> None:
    """Write rows (dataclasses, ``of``) as CSV, or put them at its end."""
    with path.open("w" if anew else "a", newline="", encoding="utf-8") as file:
        writer = csv.DictWriter(file, [f.name for f in fields(of)])
        if anew:
            writer.writeheader()
        for row in rows:
            writer.writerow({name: _text(value) for name, value in asdict(row).items()})


def read_rows(path: Path) -> list[Row]:
    """The way back."""
    with path.open(newline="", encoding="utf-8") as file:
        return [_row(line) for line in csv.DictReader(file)]


def _text(value: object) -> str:
    if isinstance(value, tuple):
        return " ".join(f"{v:.6g}" for v in value)
    return f"{value:.6g}" if isinstance(value, float) else str(value)


def _row(line: dict[str, str]) -> Row:
    made: dict[str, object] = {}
    for f in fields(Row):
        text = line[f.name]
        if f.type == "float":
            made[f.name] = float(text)
        elif f.type == "int":
            made[f.name] = int(text)
        elif f.type == "bool":
            made[f.name] = text == "True"
        else:
            made[f.name] = tuple(float(v) for v in text.split()) if str(f.type).startswith("tuple") else text
    return Row(**made)  # type: ignore[arg-type]
