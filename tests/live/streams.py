"""Streams of a phone's camera over the card, good and bad: one or two rendered pictures, moved as a hand moves them.

The picture is rendered once at the stream's size and then shifted, scaled and blurred frame by frame; the photo that is
taken is rendered at full size, blurred by the hand's speed and the lens as they are at that moment, and moved to the
same place. Sizes of a hand's tremor, of a lens that hunts and of a shutter's lag are from memory.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.develop import develop, encode
from tests.scenes.expose import expose
from tests.scenes.faults import pads_middle
from tests.scenes.light import Shadow
from tests.scenes.measured import World
from tests.scenes.photo import camera_of
from tests.scenes.scene import Glare, Scene, random_scene

Pixels = NDArray[np.uint8]
STREAM = 1280  # pixels of a frame's long side
PHOTO = 2016  # of a photo's
# Good ones are half; "mended" begins as a bad one and is put right.
KINDS = ("good", "mended", "out", "far", "tilted", "moving", "blurred", "dark", "bright", "shine", "shadow")
KINDS += ("no_strip", "not_ready", "no_card")
MENDED = ("out", "far", "tilted", "dark", "bright", "shine", "shadow", "no_strip")


@dataclass(frozen=True)
class Stream:
    """One stream: its scene, what is wrong and for how long, how the hand and the lens behave.

    Lengths are shares of the frame's long side, times seconds. ``takes``: whether the browser takes a photo, after
    ``lag_s``, or keeps the best frame.
    """

    seed: int
    kind: str
    fault: str | None
    scene: Scene
    bad: Scene | None  # while the fault lasts
    until_s: float  # the fault's end; infinite for one that stays
    approach: tuple[float, float, float]  # shift x, y and zoom at the beginning, gone with approach_s
    approach_s: float
    tremor: NDArray[np.float64]  # (N, 4): frequency in 1/s, phase, size in x and y
    shutter_s: float
    defocus_mm: float  # on the card, at the beginning
    focus_s: float
    defocus_left_mm: float
    every_s: float
    lag_s: float
    takes: bool
    lasts_s: float = 5.0

    def wait(self, at_s: float) -> bool:
        """Whether the dip's time has not come."""
        return self.fault == "not_ready" and at_s < self.until_s

    def is_bad(self, at_s: float) -> bool:
        """Whether the fault is there."""
        return self.fault is not None and at_s < self.until_s

    def pose(self, at_s: float) -> tuple[float, float, float]:
        """Shift in x and y, and zoom."""
        left = float(np.exp(-at_s / self.approach_s))
        f, phase, x, y = self.tremor.T
        wave = np.sin(2 * np.pi * f * at_s + phase)
        dx, dy, zoom = (left * v for v in self.approach)
        return dx + float(wave @ x), dy + float(wave @ y), 1.0 + zoom

    def velocity(self, at_s: float) -> NDArray[np.float64]:
        """Of the frame's middle, shares of the long side a second."""
        a, b = self.pose(at_s - 0.005), self.pose(at_s + 0.005)
        return np.array([b[0] - a[0], b[1] - a[1]]) / 0.01

    def defocus(self, at_s: float) -> float:
        """Standard deviation of the lens's blur, mm on the card."""
        return self.defocus_left_mm + self.defocus_mm * float(np.exp(-at_s / self.focus_s))


def sized(scene: Scene, long_side: int) -> Scene:
    """The scene with another size of picture."""
    flat = scene.size[0] > scene.size[1]
    short = long_side * 3 // 4
    return replace(scene, size=(long_side, short) if flat else (short, long_side))


def faulty(scene: Scene, fault: str, rng: np.random.Generator) -> Scene:
    """The scene with something wrong that can be seen in it, from hardly to much."""
    makers: dict[str, Callable[[], Scene]] = {
        "no_strip": lambda: replace(scene, strips=()),
        "no_card": lambda: replace(scene, card=False),
        "dark": lambda: replace(scene, level=float(np.exp(rng.uniform(np.log(0.004), np.log(0.06))))),
        "bright": lambda: replace(scene, level=float(rng.uniform(1.3, 6.0))),
        "shine": lambda: _shining(scene, rng),
        "shadow": lambda: _shaded(scene, rng),
        "out": lambda: _partly_out(scene, rng),
        "far": lambda: replace(scene, fill=float(rng.uniform(0.15, 0.42))),
        "tilted": lambda: replace(scene, tilt_deg=float(rng.uniform(46, 62))),
    }
    return makers[fault]()


def _partly_out(scene: Scene, rng: np.random.Generator) -> Scene:
    """The card beyond the picture's rim: a fill over 1 makes the free room negative, and its far end pushes it out."""
    turn = rng.uniform(0, 2 * np.pi)
    return replace(scene, fill=float(rng.uniform(1.08, 1.7)), aim=(float(np.cos(turn)), float(np.sin(turn))))


def _shining(scene: Scene, rng: np.random.Generator) -> Scene:
    """Lamps mirrored in the wet pads: spots from small to large, from weak to blinding."""
    middle, length = pads_middle(scene.strips[0])
    spots = tuple(
        Glare((float(x), float(y)), float(rng.uniform(1.5, 8.0)), float(np.exp(rng.uniform(np.log(0.15), np.log(1.5)))))
        for x, y in middle + rng.normal(0, 0.15, (2, 2)) * [min(length, 20.0), 2.0]
    )
    return replace(scene, glare=spots)


def _shaded(scene: Scene, rng: np.random.Generator) -> Scene:
    """A shadow's edge over the pads, from soft to hard and from pale to deep."""
    middle, length = pads_middle(scene.strips[0])
    along = np.radians(scene.strips[0].angle_deg)
    at = middle + rng.uniform(-0.3, 0.3) * length * np.array([np.cos(along), np.sin(along)])
    angle = float(scene.strips[0].angle_deg + rng.choice([0, 180]) + rng.normal(0, 30))
    width = float(np.exp(rng.uniform(np.log(0.5), np.log(12.0))))
    shadow = Shadow((float(at[0]), float(at[1])), angle, width, float(rng.uniform(0.08, 0.8)))
    return replace(scene, lamps=tuple(replace(lamp, shadow=shadow) for lamp in scene.lamps))


def of_setup(setup: int) -> dict[str, int]:
    """Printer, sheet and bottle of a setup, as ``tests.accuracy`` has them."""
    return {"printer_seed": setup, "sheet_seed": setup, "lot_seed": setup}


def stream(seed: int, kind: str, setup: int, world: World) -> Stream:
    """Draw a stream of a setup's card and bottle by a stranger's phone. The same numbers give the same one."""
    rng = np.random.default_rng([seed, 1811])
    hard = bool(rng.random() < 0.25)
    scene = random_scene(rng, "four", hard=hard, world=world, orientation=1, icc="none", **of_setup(setup))
    scene = replace(scene, fill=min(scene.fill, 0.9), aim=(0.6 * scene.aim[0], 0.6 * scene.aim[1]))
    fault = str(rng.choice(MENDED)) if kind == "mended" else None if kind == "good" else kind
    bad = faulty(scene, fault, rng) if fault and fault not in ("moving", "blurred", "not_ready") else None
    shake = 1.0 if fault != "moving" else float(rng.uniform(20.0, 60.0))
    frequency = np.concatenate([rng.uniform(0.2, 1.2, 3), rng.uniform(3.0, 10.0, 3)])
    if fault == "moving":
        frequency[:3] = rng.uniform(0.6, 1.5, 3)
    mm = scene.fill / 148.0  # a mm on the card as a share of the frame, about
    size = np.concatenate([rng.uniform(0.2, 1.2, 3), rng.uniform(0.01, 0.08, 3)]) * mm * shake
    turn = rng.uniform(0, 2 * np.pi, 6)
    tremor = np.column_stack([frequency, rng.uniform(0, 2 * np.pi, 6), size * np.cos(turn), size * np.sin(turn)])
    return Stream(
        seed=seed,
        kind=kind,
        fault=fault,
        scene=scene,
        bad=bad,
        until_s=float(rng.uniform(1.0, 2.0)) if kind == "mended" else np.inf if fault else 0.0,
        approach=(float(rng.normal(0, 0.2)), float(rng.normal(0, 0.2)), float(rng.uniform(-0.6, 0.1))),
        approach_s=float(rng.uniform(0.15, 0.5)),
        tremor=tremor,
        shutter_s=float(rng.choice([1 / 120, 1 / 60, 1 / 30, 1 / 20])),
        defocus_mm=float(rng.uniform(0.0, 1.5)),
        focus_s=float(rng.uniform(0.1, 0.5)),
        defocus_left_mm=float(rng.uniform(0.5, 3.0)) if fault == "blurred" else 0.0,
        every_s=float(rng.uniform(0.06, 0.1)),
        lag_s=float(rng.uniform(0.1, 0.5)),
        takes=bool(rng.random() < 0.5),
    )


class Shown:
    """The pictures of a stream: each rendered once, at the stream's size and, when asked for, at the photo's."""

    def __init__(self, of: Stream) -> None:
        self.of = of
        self._still: dict[bool, Pixels] = {}
        rng = np.random.default_rng([of.seed, 1812])
        self._noise = rng.normal(0, 1.5, (STREAM * 3 // 4 + 64, STREAM + 64)).astype(np.int16)

    def frame(self, at_s: float) -> Pixels:
        """The frame (H, W, 3) at a time."""
        bad = self.of.is_bad(at_s) and self.of.bad is not None
        if bad not in self._still:
            scene = sized(self.of.bad if bad and self.of.bad else self.of.scene, STREAM)
            self._still[bad] = develop(expose(scene, camera_of(scene)), scene)
        picture = self._moved(self._still[bad], at_s)
        picture = self._softened(picture, at_s, self.of.shutter_s)
        height, width = picture.shape[:2]
        dx, dy = int(at_s * 7919) % 64, int(at_s * 104729) % 64
        noise = self._noise if width > height else self._noise.T
        grain = noise[dy : dy + height, dx : dx + width, None]
        return np.clip(picture.astype(np.int16) + grain, 0, 255).astype(np.uint8)

    def photo(self, at_s: float) -> tuple[Pixels, bytes]:
        """A photo taken at a time: its pixels and its file."""
        bad = self.of.is_bad(at_s) and self.of.bad is not None
        scene = sized(self.of.bad if bad and self.of.bad else self.of.scene, PHOTO)
        per_mm = PHOTO * scene.fill / 148.0
        speed = self.of.velocity(at_s) * PHOTO * self.of.shutter_s
        scene = replace(
            scene,
            defocus_px=self.of.defocus(at_s) * per_mm,
            motion_px=float(np.hypot(*speed)),
            motion_deg=float(np.degrees(np.arctan2(speed[1], speed[0]))),
        )
        codes = self._moved(develop(expose(scene, camera_of(scene)), scene), at_s)
        return codes, encode(codes, scene)

    def _moved(self, still: Pixels, at_s: float) -> Pixels:
        dx, dy, zoom = self.of.pose(at_s)
        height, width = still.shape[:2]
        long = max(height, width)
        shift = [dx * long + (1 - zoom) * width / 2, dy * long + (1 - zoom) * height / 2]
        matrix = np.array([[zoom, 0, shift[0]], [0, zoom, shift[1]]])
        flags = cv2.INTER_LINEAR if zoom > 0.95 else cv2.INTER_AREA
        moved = cv2.warpAffine(still, matrix, (width, height), flags=flags, borderMode=cv2.BORDER_REFLECT)
        return np.asarray(moved, dtype=np.uint8)

    def _softened(self, picture: Pixels, at_s: float, shutter_s: float) -> Pixels:
        long = max(picture.shape[:2])
        way = self.of.velocity(at_s) * long * shutter_s
        sigma = self.of.defocus(at_s) * long * self.of.scene.fill / 148.0
        if sigma > 0.4:
            picture = np.asarray(cv2.GaussianBlur(picture, (0, 0), sigma), dtype=np.uint8)
        length = int(np.ceil(np.hypot(*way)))
        if length > 1:
            size = min(length, 61) | 1
            kernel = np.zeros((size, size), np.float32)
            middle, reach = size // 2, way / max(np.hypot(*way), 1e-9) * min(length, 61) / 2
            ends = [(round(middle + s * reach[0]), round(middle + s * reach[1])) for s in (-1, 1)]
            cv2.line(kernel, ends[0], ends[1], 1.0)
            picture = np.asarray(cv2.filter2D(picture, -1, kernel / kernel.sum()), dtype=np.uint8)
        return picture
