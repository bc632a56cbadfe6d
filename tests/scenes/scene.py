"""Everything that decides one photo, with seeds; drawn at random or set by hand."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np

from stripread.card.layout import LANE_MM
from tests.scenes.layers import Builder
from tests.scenes.light import Lamp, Shadow
from tests.scenes.measured import World
from tests.scenes.measured import lamps as measured_lamps
from tests.scenes.strips import StripState, kind

BENCHES = ("wood", "grey", "tiles", "dark", "clutter")
PICTURED = ("photo:coffee", "photo:brick", "photo:grass", "photo:gravel", "photo:rocket", "photo:chelsea")
ROOM = ("D65", "D50", "LED-B1", "LED-B2", "LED-B3", "LED-B4", "LED-B5", "LED-V1", "LED-V2", "A", "FL2", "FL7")
CAUSES = ("vignetting", "local tone", "brightener")  # that a study may switch off to see what each costs
POOR = ("FL2", "FL11", "FL12", "LED-RGB1", "narrow:1", "narrow:2", "narrow:3")


@dataclass(frozen=True)
class Lying:
    """A strip and where it lies: its middle on the card (mm), turn, and whether the dipped end points right."""

    strip: StripState
    x_mm: float = LANE_MM[0] + LANE_MM[2] / 2
    y_mm: float = LANE_MM[1] + LANE_MM[3] / 2
    angle_deg: float = 0.0
    flipped: bool = False


@dataclass(frozen=True)
class Glare:
    """A lamp mirrored in something wet: where (card mm), how large, how bright in units of lit white."""

    at_mm: tuple[float, float]
    radius_mm: float
    strength: float
    lamp: int = 0


@dataclass(frozen=True)
class Cover:
    """Something lying over the card: a box (x, y, w, h in card mm), turned about its middle, of a made-up colour."""

    box_mm: tuple[float, float, float, float]
    angle_deg: float = 0.0
    seed: int = 0


@dataclass(frozen=True)
class Scene:
    """One photo to be taken."""

    strips: tuple[Lying, ...] = ()
    printer_seed: int = 0
    sheet_seed: int = 0
    grey_printer: bool = False
    faded: float = 0.0  # how far the card's inks have faded since it was printed, 1 is much
    yellowed: float = 0.0  # how far its paper has
    phone_seed: int = 0
    world: World = "made-up"  # which cameras and lamps: made up, or one half of the measured ones
    shot_seed: int = 0
    lamps: tuple[Lamp, ...] = (Lamp("D65"),)
    glare: tuple[Glare, ...] = ()
    sheen: float = 0.0  # an even veil of mirrored surroundings over wet things, in units of lit white
    local_tone: float = 0.0  # strength of local tone mapping
    level: float = 0.75  # linear level at which the card's white lands (1 = clipped)
    size: tuple[int, int] = (2016, 1512)  # upright width and height
    distance_mm: float = 300.0
    tilt_deg: float = 8.0
    azimuth_deg: float = 90.0
    roll_deg: float = 0.0
    fill: float = 0.8
    aim: tuple[float, float] = (0.0, 0.0)
    curvature: float = 0.0
    curl_deg: float = 0.0
    bench: str = "grey"
    bench_seed: int = 0
    covers: tuple[Cover, ...] = ()
    defocus_px: float = 0.0
    motion_px: float = 0.0
    motion_deg: float = 0.0
    quality: int | None = None  # None: the phone's own
    orientation: int = 1  # EXIF
    icc: Literal["none", "srgb", "p3"] = "none"
    form: Literal["JPEG", "PNG", "WEBP", "TIFF", "HEIF"] = "JPEG"
    taken_at: str | None = "2026:11:25 10:00:00"
    card: bool = True
    fault: str | None = None
    extras: tuple[Builder, ...] = ()
    camera: str | None = None  # maker and model that the file names
    without: frozenset[str] = frozenset()  # what is switched off, of CAUSES

    @property
    def ph(self) -> float | None:
        """True pH of the first strip."""
        return self.strips[0].strip.ph if self.strips else None


def lie_down(strip: StripState, rng: np.random.Generator, turn_deg: float = 15.0) -> Lying:
    """Lay a strip somewhere in the lane or nearly so."""
    sort = kind(strip.kind)
    angle = float(np.clip(rng.normal(0, turn_deg / 3), -turn_deg, turn_deg))
    x, y, w, h = LANE_MM
    tall = abs(np.sin(np.radians(angle))) * sort.length_mm + sort.width_mm
    wide = sort.length_mm
    free_x, free_y = max(w - wide, 0) / 2 + 2.0, max(h - tall, 0) / 2 + 2.0  # in the lane or a little over its line
    return Lying(
        strip,
        x + w / 2 + float(rng.uniform(-0.9, 0.9)) * free_x,
        y + h / 2 + float(rng.uniform(-0.9, 0.9)) * free_y,
        angle,
        bool(rng.random() < 0.15),
    )


def random_lamps(rng: np.random.Generator, hard: bool = False, world: World = "made-up") -> tuple[Lamp, ...]:
    """The light of a workshop: one lamp or two; when hard, of different colour from two sides, or of poor colour."""

    def lamp(weight: float, side: float, poor: bool) -> Lamp:
        if world == "made-up":
            name = str(rng.choice(POOR if poor else ROOM))
        else:
            name = str(rng.choice(measured_lamps(world, poor)))
        turn = side + rng.normal(0, 0.5)
        if rng.random() < 0.5:
            reach, rise = rng.uniform(200, 900), rng.uniform(450, 1800)
            return Lamp(name, weight, (float(reach * np.cos(turn)), float(reach * np.sin(turn)), float(rise)))
        steep = rng.uniform(0.0, 0.18)
        bend = rng.normal(0, 0.05, 3)
        return Lamp(
            name, weight, None, (float(steep * np.cos(turn)), float(steep * np.sin(turn))), tuple(map(float, bend))
        )

    side = rng.uniform(0, 2 * np.pi)
    trouble = str(rng.choice(["two", "poor", "wall"])) if hard else "none"
    lamps = [lamp(1.0, side, trouble == "poor")]
    if trouble == "two":
        lamps.append(lamp(float(rng.uniform(0.3, 1.0)), side + np.pi, False))
    elif rng.random() < 0.5:
        lamps.append(lamp(float(rng.uniform(0.1, 0.5)), rng.uniform(0, 2 * np.pi), False))
    if trouble == "wall":
        turn = rng.uniform(0, 2 * np.pi)
        wall = Lamp(lamps[0].spectrum, float(rng.uniform(0.1, 0.3)), None, (0.6 * np.cos(turn), 0.6 * np.sin(turn)))
        lamps.append(replace(wall, wall=int(rng.integers(1 << 30))))
    if rng.random() < 0.3:
        shadow = Shadow(
            (float(rng.uniform(0, 148)), float(rng.uniform(0, 104))),
            float(rng.uniform(0, 360)),
            float(rng.uniform(60, 150)),
            float(rng.uniform(0.1, 0.35)),
        )
        lamps[0] = replace(lamps[0], shadow=shadow)
    return tuple(lamps)


def random_scene(
    rng: np.random.Generator, kind: str = "four", ph: float | None = None, hard: bool = False, **fixed: Any
) -> Scene:
    """A photo as somebody careful takes it, or with ``hard`` as somebody in a bad place does.

    ``fixed`` sets fields of :class:`Scene`, and also ``lot_seed`` and ``strip_seed`` of the strip. What is fixed does
    not change what is drawn for the rest.
    """
    span = STRIP_RANGE[kind]
    drawn_ph = float(rng.uniform(*span))
    seeds = [int(s) for s in rng.integers(1 << 30, size=7)]
    state = StripState(
        kind,
        drawn_ph if ph is None else float(ph),
        fixed.pop("lot_seed", seeds[0]),
        fixed.pop("strip_seed", seeds[1]),
    )
    lying = lie_down(state, rng)
    world = fixed.get("world", "made-up")
    lamps = random_lamps(rng, hard, world)
    tilt = float(abs(rng.normal(0, 12)))
    size = (2016, 1512) if rng.random() < 0.8 else (1512, 2016)
    upright = size[0] > size[1]
    roll = float(rng.normal(0, 8) + (0 if upright else 90) + rng.choice([0, 180], p=[0.85, 0.15]))
    scene = Scene(
        strips=(lying,),
        printer_seed=seeds[2],
        sheet_seed=seeds[3],
        phone_seed=seeds[4],
        shot_seed=seeds[5],
        lamps=lamps,
        sheen=float(rng.uniform(0.0, 0.012)) * (4.0 if hard else 1.0),
        local_tone=float(rng.uniform(0.1, 0.3)) if hard and rng.random() < 0.4 else 0.0,
        level=float(np.clip(rng.normal(0.68, 0.12), 0.4, 0.93)),
        size=size,
        distance_mm=float(rng.uniform(200, 450)),
        tilt_deg=min(tilt, 35.0),
        azimuth_deg=float(rng.uniform(0, 360)),
        roll_deg=roll,
        fill=float(rng.uniform(0.6, 0.93)),
        aim=(float(rng.uniform(-0.8, 0.8)), float(rng.uniform(-0.8, 0.8))),
        curvature=float(rng.normal(0, 3e-4)) if rng.random() < 0.6 else 0.0,
        curl_deg=float(rng.choice([0.0, 90.0]) + rng.normal(0, 15)),
        bench=str(rng.choice(BENCHES)),
        bench_seed=seeds[6],
        orientation=int(rng.choice([1, 3, 6, 8], p=[0.7, 0.1, 0.1, 0.1])),
        icc=str(rng.choice(["none", "srgb", "p3"], p=[0.3, 0.4, 0.3])),  # type: ignore[arg-type]
    )
    if world != "made-up":
        scene = _as_used(scene, np.random.default_rng([seeds[5], 83]))
    return replace(scene, **fixed)


def _as_used(scene: Scene, rng: np.random.Generator) -> Scene:
    """What the made-up world leaves out: strips bent and soaked one way, a photograph for a bench."""
    lying = tuple(
        replace(
            one,
            strip=replace(
                one.strip,
                bend=float(rng.normal(0, 0.02)),
                front=float(rng.choice([0.0, 1.0], p=[0.5, 0.5]) * rng.uniform(-0.1, 0.1)),
                drying=float(rng.choice([0.0, 1.0], p=[0.6, 0.4]) * rng.uniform(0.0, 0.15)),
                through=float(np.random.default_rng([one.strip.lot_seed, 89]).uniform(0.0, 0.05)),
            ),
        )
        for one in scene.strips
    )
    bench = str(rng.choice(PICTURED)) if rng.random() < 0.4 else scene.bench
    return replace(scene, strips=lying, bench=bench)


STRIP_RANGE = {
    "four": (0.5, 13.5),
    "universal": (0.5, 13.5),
    "bromothymol": (5.8, 7.9),
    "three": (4.2, 9.8),
    "roll": (3.2, 10.8),
}
