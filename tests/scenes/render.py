"""Scene to photo: light times reflectance times sensor once a material, then everything a phone does to it."""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image as PillowImage

from stripread.card import layout
from tests.scenes.camera import Camera, Curl
from tests.scenes.icc import profile
from tests.scenes.layers import Array, Layer
from tests.scenes.light import CARD_CENTRE, Lamp
from tests.scenes.phone import Image, Phone, noise, phone
from tests.scenes.printer import Printer
from tests.scenes.scene import Cover, Glare, Scene
from tests.scenes.spectra import smooth_reflectances, source, true_lab
from tests.scenes.surfaces import bench_layer, card_layer, pad_boxes, patch_spectra, strip_layers

LARGEST = 13_000_000  # pixels worked at; larger photos are the same picture enlarged, as phones do themselves
CELL = 8  # pixels between exactly computed points of the pixel-to-card map


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


def work_size(scene: Scene) -> tuple[tuple[int, int], float]:
    """Size worked at, and full pixels to one of its pixels."""
    w, h = scene.size
    shrink = max(1.0, np.sqrt(w * h / LARGEST))
    return (round(w / shrink), round(h / shrink)), float(shrink)


def camera_of(scene: Scene) -> Camera:
    """The camera at the working size."""
    return Camera.aimed(
        work_size(scene)[0],
        scene.distance_mm,
        scene.tilt_deg,
        scene.azimuth_deg,
        scene.roll_deg,
        scene.fill,
        scene.aim,
        Curl(scene.curvature, scene.curl_deg),
        phone(scene.phone_seed).radial,
    )


def _field(lamp: Lamp, layer: Layer, curl: Curl, on_bench: bool, cell_mm: float) -> Image:
    """A lamp's illuminance over a layer's raster."""
    rows, cols = layer.index.shape
    (w, h), (x0, y0) = layer.size_mm, layer.origin_mm
    if lamp.sharp:
        ny, nx = rows, cols
    else:
        ny, nx = max(int(h / cell_mm), 2), max(int(w / cell_mm), 2)
    xs, ys = np.meshgrid((np.arange(nx) + 0.5) * w / nx + x0, (np.arange(ny) + 0.5) * h / ny + y0)
    xy = layer.on_card(np.stack([xs, ys], axis=-1))
    if on_bench:
        e = lamp.field(xy)
    else:
        e = lamp.field(xy, curl.height(xy), curl.normal(xy))
    return np.asarray(cv2.resize(e.astype(np.float32), (cols, rows), interpolation=cv2.INTER_LINEAR))


def _mirrored(layer: Layer, scene: Scene) -> Image:
    """Mirror images on a layer's raster per unit gloss: an even sheen and the spots of lamps."""
    rows, cols = layer.index.shape
    out = np.full((rows, cols), scene.sheen, dtype=np.float32)
    if scene.glare:
        (w, h), (x0, y0) = layer.size_mm, layer.origin_mm
        xs, ys = np.meshgrid((np.arange(cols) + 0.5) * w / cols + x0, (np.arange(rows) + 0.5) * h / rows + y0)
        xy = layer.on_card(np.stack([xs, ys], axis=-1))
        for spot in scene.glare:
            r2 = ((xy - np.array(spot.at_mm)) ** 2).sum(axis=-1) / spot.radius_mm**2
            out += (spot.strength * np.exp(-(r2**1.5))).astype(np.float32)
    return out


def lit(layer: Layer, scene: Scene, eye: Phone, curl: Curl, on_bench: bool = False) -> Image:
    """What the sensor would see of a layer, raster cell by cell, before exposure, shape (H, W, 3)."""
    cell_mm = 6.0 if on_bench else 1.0
    out = np.zeros((*layer.index.shape, 3), dtype=np.float32)
    glossy = layer.gloss is not None and (scene.sheen > 0 or scene.glare)
    for lamp in scene.lamps:
        power = lamp.power()
        spectra = layer.spectra if layer.glow is None else layer.spectra + lamp.glow() * layer.glow
        seen = np.take(eye.raw(spectra * power).astype(np.float32), layer.index, axis=0, mode="clip")
        if layer.change is not None and layer.mix is not None:
            change = np.take(eye.raw(layer.change * power).astype(np.float32), layer.index, axis=0, mode="clip")
            seen = cv2.add(seen, cv2.multiply(change, cv2.merge([layer.mix] * 3)))
        field = _field(lamp, layer, curl, on_bench, cell_mm)
        out = cv2.add(out, cv2.multiply(seen, cv2.merge([field] * 3)))
    if layer.shade is not None:
        out *= layer.shade[..., None]
    if glossy:
        mirror = _mirrored(layer, scene) * np.take(layer.gloss.astype(np.float32), layer.index)
        lamp = scene.lamps[scene.glare[0].lamp if scene.glare else 0]
        out += mirror[..., None] * eye.raw(lamp.power()).astype(np.float32)
    return out


def _paste(picture: Image, layer: Layer, seen: Image, camera: Camera, on_bench: bool = False) -> None:
    """Warp a lit layer into the picture in place."""
    height, width = picture.shape[:2]
    outline = camera.to_px(layer.on_card(_dense(layer.outline())), on_bench)
    if on_bench:
        x0, y0, x1, y1 = 0, 0, width, height
    else:
        x0, y0 = (int(v) for v in np.clip(np.floor(outline.min(axis=0)) - 2, 0, [width, height]))
        x1, y1 = (int(v) for v in np.clip(np.ceil(outline.max(axis=0)) + 3, 0, [width, height]))
        if x1 <= x0 or y1 <= y0:
            return
    nx, ny = -(-(x1 - x0) // CELL), -(-(y1 - y0) // CELL)
    gx, gy = np.meshgrid(x0 + (np.arange(nx + 2) - 0.5) * CELL - 0.5, y0 + (np.arange(ny + 2) - 0.5) * CELL - 0.5)
    mm = camera.to_card(np.stack([gx, gy], axis=-1), on_bench)
    inverse = cv2.invertAffineTransform(layer.to_card)
    cells = (mm @ inverse[:, :2].T + inverse[:, 2] - np.array(layer.origin_mm)) * layer.ppm - 0.5
    size = ((nx + 2) * CELL, (ny + 2) * CELL)
    maps = cv2.resize(cells.astype(np.float32), size, interpolation=cv2.INTER_LINEAR)
    maps = np.ascontiguousarray(maps[CELL : CELL + y1 - y0, CELL : CELL + x1 - x0])
    colour = cv2.remap(seen, maps, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    if on_bench:
        picture[:] = colour
        return
    alpha = np.ones(layer.index.shape, np.float32) if layer.alpha is None else layer.alpha
    cover = cv2.remap(alpha, maps, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
    there = picture[y0:y1, x0:x1]
    picture[y0:y1, x0:x1] = cv2.add(there, cv2.multiply(cv2.subtract(colour, there), cv2.merge([cover] * 3)))


def _dense(corners: Array) -> Array:
    """Points along a closed outline, so that a curled edge is not cut short."""
    t = np.linspace(0, 1, 12)[:, None]
    return np.concatenate([(1 - t) * a + t * b for a, b in zip(corners, np.roll(corners, -1, axis=0), strict=True)])


def _cover_layer(cover: Cover) -> Layer:
    x, y, w, h = cover.box_mm
    turn = np.radians(cover.angle_deg)
    middle = np.array([x + w / 2, y + h / 2])
    matrix = np.array([[np.cos(turn), -np.sin(turn)], [np.sin(turn), np.cos(turn)]])
    to_card = np.hstack([matrix, middle[:, None]])
    index = np.zeros((max(int(h * 2), 2), max(int(w * 2), 2)), np.uint8)
    return Layer(index, index.shape[0] / h, (-w / 2, -h / 2), smooth_reflectances(cover.seed, 1), to_card=to_card)


def expose(scene: Scene, camera: Camera) -> Image:
    """The sensor's picture before exposure: bench, card, strips and whatever else lies there."""
    eye = phone(scene.phone_seed)
    width, height = camera.size
    frame = np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=float)
    ground = np.clip(camera.to_card(frame, on_bench=True), CARD_CENTRE - 900, CARD_CENTRE + 900)
    bench = bench_layer(scene.bench, ground.min(axis=0) - 10, ground.max(axis=0) + 10, scene.bench_seed)
    picture = np.zeros((height, width, 3), dtype=np.float32)
    _paste(picture, bench, lit(bench, scene, eye, camera.curl, True), camera, on_bench=True)
    ppm = int(np.clip(2 * np.ceil(camera.px_per_mm() * 0.55), 6, 30))
    layers: list[Layer] = []
    if scene.card:
        sheet = Printer.from_seed(scene.printer_seed, scene.grey_printer).sheet(scene.sheet_seed)
        layers.append(card_layer(sheet, ppm, scene.sheet_seed))
    for lying in scene.strips:
        layers += strip_layers(lying.strip, lying.x_mm, lying.y_mm, lying.angle_deg, lying.flipped, ppm)
    for build in scene.extras:
        layers += build(float(ppm), scene.shot_seed)
    layers += [_cover_layer(cover) for cover in scene.covers]
    for layer in layers:
        _paste(picture, layer, lit(layer, scene, eye, camera.curl), camera)
    return picture


def develop(picture: Image, scene: Scene) -> NDArray[np.uint8]:
    """Lens, sensor and the phone's own processing: (H, W, 3) raw light to 8-bit RGB."""
    eye = phone(scene.phone_seed)
    rng = np.random.default_rng([scene.shot_seed, 13])
    height, width = picture.shape[:2]
    flare = picture.mean(axis=(0, 1)) * eye.flare
    white = eye.raw(sum((lamp.power() for lamp in scene.lamps), np.zeros_like(source("D65"))))
    neutral = eye.raw(source("D65"))
    taken = white**eye.adaptation * (neutral * white[1]) ** (1 - eye.adaptation)
    gains = np.exp(eye.white_error + rng.normal(0, 0.01, 3)) / taken
    gains = gains / gains.min()
    exposure = scene.level / (white * gains).max()
    xs, ys = np.linspace(-1, 1, 40, dtype=np.float32), np.linspace(-1, 1, 30, dtype=np.float32)
    fall = 1 - eye.vignetting * (xs[None] ** 2 + ys[:, None] ** 2) / 2
    shading = cv2.resize(fall.astype(np.float32) * np.float32(exposure), (width, height))
    raw = cv2.multiply(picture + flare.astype(np.float32), cv2.merge([shading] * 3))
    if scene.motion_px > 1:
        raw = cv2.filter2D(raw, -1, _streak(scene.motion_px, scene.motion_deg))
    raw = cv2.GaussianBlur(raw, (0, 0), float(np.hypot(eye.psf, scene.defocus_px)), borderType=cv2.BORDER_REPLICATE)
    # plain numpy where a number meets all channels: OpenCV takes a bare number for the first channel's
    spread = cv2.sqrt(np.maximum(raw, 0) * np.float32(1.0 / eye.electrons) + np.float32(eye.read_noise**2))
    raw = cv2.add(raw, cv2.multiply(spread, noise((height, width), eye.smooth, rng)))
    np.minimum(raw, np.float32(1.0), out=raw)
    d65, warm = neutral[0] / neutral[2], eye.raw(source("A"))[0] / eye.raw(source("A"))[2]
    warmth = float(np.clip(np.log(white[0] / white[2] / d65) / np.log(warm / d65), 0, 1))
    balanced = np.minimum(raw * gains.astype(np.float32), np.float32(1.0))
    matrix = eye.colour_matrix(warmth, scene.icc == "p3") * 65535.0
    linear = cv2.transform(balanced, matrix.astype(np.float32))
    if scene.local_tone > 0:
        linear = _local_tone(linear, scene.local_tone)
    np.clip(linear, 0.0, 65535.0, out=linear)
    codes = np.take(eye.tone_table(), linear.astype(np.uint16), mode="clip")
    if eye.sharpen > 0.05:
        soft = cv2.GaussianBlur(codes, (0, 0), 1.2)
        codes = cv2.addWeighted(codes, 1 + eye.sharpen, soft, -eye.sharpen, 0)
    return np.asarray(codes)


def _streak(length: float, angle_deg: float) -> Image:
    size = int(length) | 1
    kernel = np.zeros((size, size), np.float32)
    c, d = size // 2, np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))]) * size / 2
    cv2.line(kernel, tuple(int(v) for v in c - d), tuple(int(v) for v in c + d), 1.0)
    return np.asarray(kernel / kernel.sum())


def _local_tone(linear: Image, strength: float) -> Image:
    """Lift dark regions and hold bright ones, by a gain that follows the picture's broad brightness."""
    small = cv2.resize(linear, (64, 48), interpolation=cv2.INTER_AREA).mean(axis=2)
    broad = cv2.GaussianBlur(np.maximum(small, 0.02 * 65535), (0, 0), 4.0)
    gain = (broad / np.exp(np.log(broad).mean())) ** -strength
    gain = gain / gain.max() * 1.05
    wide = cv2.resize(gain.astype(np.float32), linear.shape[1::-1], interpolation=cv2.INTER_CUBIC)
    return np.asarray(cv2.multiply(linear, cv2.merge([wide] * 3)))


def encode(codes: NDArray[np.uint8], scene: Scene) -> bytes:
    """JPEG with the phone's quality, turned as the sensor lay, EXIF and profile beside it."""
    eye = phone(scene.phone_seed)
    # the inverse of what the tag asks the viewer to do
    turned = {1: codes, 3: codes[::-1, ::-1], 6: np.rot90(codes, 1), 8: np.rot90(codes, -1)}[scene.orientation]
    picture = PillowImage.fromarray(np.ascontiguousarray(turned))
    exif = PillowImage.Exif()
    exif[0x0112] = scene.orientation
    if scene.taken_at is not None:
        exif.get_ifd(0x8769)[0x9003] = scene.taken_at
    out = io.BytesIO()
    options = {} if scene.icc == "none" else {"icc_profile": profile(scene.icc)}
    quality = eye.quality if scene.quality is None else scene.quality
    picture.save(out, "JPEG", quality=quality, subsampling=eye.subsampling, exif=exif, **options)
    return out.getvalue()


def truth_of(scene: Scene, camera: Camera) -> Truth:
    """The truth without rendering."""
    scale = work_size(scene)[1]

    def card_to_px(points_mm: Array) -> Array:
        return (camera.to_px(points_mm) + 0.5) * scale - 0.5

    strips = []
    for lying in scene.strips:
        strip = strip_layers(lying.strip, lying.x_mm, lying.y_mm, lying.angle_deg, lying.flipped, 2)[1]
        corners = np.array([[[x, y], [x + w, y], [x + w, y + h], [x, y + h]] for x, y, w, h in pad_boxes(lying.strip)])
        on_card = strip.on_card(corners)
        strips.append(
            StripTruth(lying.strip.kind, lying.strip.ph, true_lab(lying.strip.pad_spectra()), on_card, card_to_px(on_card))
        )
    sheet = Printer.from_seed(scene.printer_seed, scene.grey_printer).sheet(scene.sheet_seed)
    markers = {m.id: card_to_px(np.array(m.corners_mm)) for m in layout().markers} if scene.card else {}
    return Truth(
        scene.ph, scene.fault, scene.size, tuple(strips), true_lab(patch_spectra(sheet)), markers, card_to_px
    )


def render(scene: Scene) -> Rendered:
    """Take the photo. The same scene gives the same bytes."""
    camera = camera_of(scene)
    codes = develop(expose(scene, camera), scene)
    if scene.size != camera.size:
        codes = cv2.resize(codes, scene.size, interpolation=cv2.INTER_CUBIC)
    return Rendered(encode(codes, scene), truth_of(scene, camera))


__all__ = ["Glare", "Rendered", "StripTruth", "Truth", "render", "truth_of"]
