"""Photos that ought to be refused or doubted, one maker for each fault."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from typing import Any

import numpy as np

from tests.scenes.light import Shadow
from tests.scenes.scene import Cover, Glare, Lying, Scene, random_scene
from tests.scenes.strips import StripState
from tests.scenes.surfaces import pad_boxes, strip_layers

Rng = np.random.Generator


def pads_middle(lying: Lying) -> tuple[np.ndarray, float]:
    """Middle of a strip's pads on the card (mm) and the length they take."""
    boxes = np.array(pad_boxes(lying.strip))
    left, right = boxes[:, 0].min(), (boxes[:, 0] + boxes[:, 2]).max()
    strip = strip_layers(lying, 2)[1]
    middle = strip.on_card(np.array([[(left + right) / 2, 0.0]]))[0]
    return middle, float(right - left)


def no_card(scene: Scene, rng: Rng) -> Scene:
    """The strip lies on the bare bench."""
    return replace(scene, card=False)


def cut_off(scene: Scene, rng: Rng) -> Scene:
    """A third of the card or more is out of the frame."""
    turn = rng.uniform(0, 2 * np.pi)
    # with a fill over 1 the free room is negative: aiming at its far end pushes the card out
    return replace(
        scene, fill=float(rng.uniform(1.7, 2.3)), aim=(float(np.sign(np.cos(turn))), float(np.sign(np.sin(turn))))
    )


def no_strip(scene: Scene, rng: Rng) -> Scene:
    """Nothing in the lane."""
    return replace(scene, strips=())


def blurred(scene: Scene, rng: Rng) -> Scene:
    """Out of focus, or the hand moved: about as wide as a pad is."""
    width = scene.size[0] * scene.fill / 148 * float(rng.uniform(2.0, 4.0))  # pixels for 2 to 4 mm
    if rng.random() < 0.5:
        return replace(scene, defocus_px=width / 2)
    return replace(scene, motion_px=2.0 * width, motion_deg=float(rng.uniform(0, 180)))


def blown_out(scene: Scene, rng: Rng) -> Scene:
    """So bright that the pads themselves reach the end of the scale."""
    return replace(scene, level=float(rng.uniform(3.0, 6.0)))


def too_dark(scene: Scene, rng: Rng) -> Scene:
    """So dark that little is left above the noise."""
    return replace(scene, level=float(rng.uniform(0.004, 0.015)))


def shadow_edge(scene: Scene, rng: Rng) -> Scene:
    """A hard, deep shadow whose edge runs across the pads."""
    middle, length = pads_middle(scene.strips[0])
    along = np.radians(scene.strips[0].angle_deg)
    at = middle + rng.uniform(-0.3, 0.3) * length * np.array([np.cos(along), np.sin(along)])
    angle = float(scene.strips[0].angle_deg + rng.choice([0, 180]) + rng.normal(0, 25))
    shadow = Shadow((float(at[0]), float(at[1])), angle, float(rng.uniform(0.5, 3.0)), float(rng.uniform(0.5, 0.8)))
    lamps = tuple(replace(lamp, shadow=shadow) for lamp in scene.lamps)
    return replace(scene, lamps=lamps)


def glare(scene: Scene, rng: Rng) -> Scene:
    """Lamps mirrored in the wet pads."""
    middle, length = pads_middle(scene.strips[0])
    spots = tuple(
        Glare((float(x), float(y)), max(5.0, 0.35 * length), float(rng.uniform(0.5, 1.5)))
        for x, y in middle + rng.normal(0, 0.15, (2, 2)) * [min(length, 20.0), 2.0]
    )
    return replace(scene, glare=spots)


def wrong_kind(scene: Scene, rng: Rng) -> Scene:
    """A strip of another sort than the profile's."""
    now = scene.strips[0].strip
    other = {"four": "universal", "universal": "three", "bromothymol": "four", "three": "four", "roll": "three"}[
        now.kind
    ]
    return replace(scene, strips=(replace(scene.strips[0], strip=replace(now, kind=other)),))


def dry(scene: Scene, rng: Rng) -> Scene:
    """A strip straight from the bottle."""
    lying = scene.strips[0]
    return replace(scene, strips=(replace(lying, strip=replace(lying.strip, wet=False)),), sheen=0.0)


def off_curve(scene: Scene, rng: Rng) -> Scene:
    """A coloured liquid stains the pads."""
    lying = scene.strips[0]
    alien = float(rng.uniform(0.5, 1.2))
    return replace(scene, strips=(replace(lying, strip=replace(lying.strip, alien=alien)),))


def too_small(scene: Scene, rng: Rng) -> Scene:
    """The card far off in a small picture: a pad is a few pixels."""
    return replace(scene, size=(640, 480), fill=float(rng.uniform(0.15, 0.25)))


def covered(scene: Scene, rng: Rng) -> Scene:
    """Something lies over the pads."""
    (x, y), length = pads_middle(scene.strips[0])
    box = (float(x - length / 2 - 3), float(y - 8), length + 6, 16.0)
    return replace(scene, covers=(Cover(box, float(rng.uniform(-30, 30)), int(rng.integers(1 << 30))),))


FAULTS: dict[str, Callable[[Scene, Rng], Scene]] = {
    "no_card": no_card,
    "card_cut_off": cut_off,
    "no_strip": no_strip,
    "blurred": blurred,
    "blown_out": blown_out,
    "too_dark": too_dark,
    "shadow_edge": shadow_edge,
    "glare": glare,
    "wrong_kind": wrong_kind,
    "dry_strip": dry,
    "off_curve": off_curve,
    "too_small": too_small,
    "covered": covered,
}


def bad_scene(rng: Rng, fault: str, kind: str = "four", ph: float | None = None, **fixed: Any) -> Scene:
    """A photo with one fault out of ``FAULTS`` (for ``not_a_picture`` see :func:`not_a_picture`)."""
    scene = random_scene(rng, kind, ph, **fixed)
    return replace(FAULTS[fault](scene, rng), fault=fault)


def corner_covered(scene: Scene, rng: Rng) -> Scene:
    """Not a fault: a thumb or a bottle over one corner of the card, which must still be read."""
    corner = rng.integers(4)
    x, y = (-4.0 if corner % 2 == 0 else 124.0), (-4.0 if corner < 2 else 80.0)
    return replace(scene, covers=(Cover((x, y, 28.0, 28.0), float(rng.uniform(0, 90)), int(rng.integers(1 << 30))),))


def not_a_picture(rng: Rng) -> bytes:
    """Bytes that no decoder takes: text, noise, an empty file, or a photo's first bytes."""
    return [
        b"",
        b"pH 7, I think\n" * 40,
        rng.bytes(20_000),
        b"\xff\xd8\xff\xe0\x00\x10JFIF\x00" + rng.bytes(300),
    ][int(rng.integers(4))]


def second_strip(scene: Scene, ph: float, rng: Rng) -> Scene:
    """A second strip of the same lot beside the first in the lane."""
    first = scene.strips[0]
    state = StripState(first.strip.kind, ph, first.strip.lot_seed, int(rng.integers(1 << 30)))
    turn = float(rng.normal(0, 1.5))
    upper = replace(first, y_mm=31.5, angle_deg=float(rng.normal(0, 1.5)))
    return replace(scene, strips=(upper, Lying(state, first.x_mm + float(rng.normal(0, 2)), 42.5, turn, False)))
