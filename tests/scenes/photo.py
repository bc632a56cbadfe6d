"""Scene to photo and the truth about it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np

from stripread.card.layout import layout
from tests.scenes.ageing import sheet_of
from tests.scenes.camera import Camera, Curl
from tests.scenes.develop import develop, encode
from tests.scenes.expose import expose
from tests.scenes.layers import Array
from tests.scenes.phone import phone
from tests.scenes.scene import Scene
from tests.scenes.spectra import true_lab
from tests.scenes.surfaces import pad_boxes, patch_spectra, strip_layers

LARGEST = 13_000_000  # pixels worked at; larger photos are the same picture enlarged, as phones do themselves


@dataclass(frozen=True)
class StripTruth:
    """What one strip really is. Corners run clockwise from the pad's corner nearest the dipped end's left."""

    kind: str
    ph: float
    pad_lab: Array  # (P, 3), even light, no mottle, D50
    pad_corners_mm: Array  # (P, 4, 2) on the card
    pad_corners_px: Array  # (P, 4, 2) upright, full size


@dataclass(frozen=True)
class Truth:
    """What the photo really shows; pixels are upright and of full size."""

    ph: float | None
    fault: str | None
    size: tuple[int, int]
    strips: tuple[StripTruth, ...]
    patch_lab: Array  # (N, 3) in layout order, under D50 with the brightener's daylight glow
    marker_px: dict[int, Array]
    card_to_px: Callable[[Array], Array]


@dataclass(frozen=True)
class Rendered:
    """The file and the truth about it."""

    data: bytes
    truth: Truth


def work_size(scene: Scene) -> tuple[int, int]:
    """Width and height worked at."""
    w, h = scene.size
    shrink = max(1.0, float(np.sqrt(w * h / LARGEST)))
    return round(w / shrink), round(h / shrink)


def camera_of(scene: Scene) -> Camera:
    """The camera at the working size."""
    return Camera.aimed(
        size=work_size(scene),
        distance_mm=scene.distance_mm,
        tilt_deg=scene.tilt_deg,
        azimuth_deg=scene.azimuth_deg,
        roll_deg=scene.roll_deg,
        fill=scene.fill,
        aim=scene.aim,
        curl=Curl(scene.curvature, scene.curl_deg),
        radial=phone(scene.phone_seed, scene.world).radial,
    )


def truth_of(scene: Scene, camera: Camera) -> Truth:
    """The truth without rendering."""
    scale = np.array(scene.size) / np.array(camera.size)

    def card_to_px(points_mm: Array) -> Array:
        return (camera.to_px(points_mm) + 0.5) * scale - 0.5

    strips = []
    for lying in scene.strips:
        strip = strip_layers(lying, 2)[1]
        corners = np.array([[[x, y], [x + w, y], [x + w, y + h], [x, y + h]] for x, y, w, h in pad_boxes(lying.strip)])
        on_card = strip.on_card(corners)
        strips.append(
            StripTruth(
                lying.strip.kind, lying.strip.ph, true_lab(lying.strip.pad_spectra()), on_card, card_to_px(on_card)
            )
        )
    sheet = sheet_of(scene)
    markers = {m.id: card_to_px(np.array(m.corners_mm)) for m in layout().markers} if scene.card else {}
    return Truth(scene.ph, scene.fault, scene.size, tuple(strips), true_lab(patch_spectra(sheet)), markers, card_to_px)


def render(scene: Scene) -> Rendered:
    """Take the photo. The same scene gives the same bytes."""
    camera = camera_of(scene)
    codes = develop(expose(scene, camera), scene)
    if scene.size != camera.size:
        codes = cv2.resize(codes, scene.size, interpolation=cv2.INTER_CUBIC)
    return Rendered(encode(codes, scene), truth_of(scene, camera))
