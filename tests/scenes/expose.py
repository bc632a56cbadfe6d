"""Light times reflectance times sensor, once a material and lamp, then in perspective: the picture on the sensor."""

from __future__ import annotations

import cv2
import numpy as np

from tests.scenes.ageing import sheet_of
from tests.scenes.camera import Camera, Curl
from tests.scenes.layers import Array, Layer
from tests.scenes.light import CARD_CENTRE, Lamp
from tests.scenes.phone import Image, Phone, phone
from tests.scenes.scene import Cover, Scene
from tests.scenes.spectra import smooth_reflectances
from tests.scenes.surfaces import bench_layer, card_layer, strip_layers

CELL = 8  # pixels between exactly computed points of the pixel-to-card map
BAND = 64  # rows worked at a time: what fits the processor's cache is several times quicker than a whole picture


def bands(height: int) -> list[slice]:
    """A picture's rows in bands."""
    return [slice(top, min(top + BAND, height)) for top in range(0, height, BAND)]


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
    e = lamp.field(xy) if on_bench else lamp.field(xy, curl.height(xy), curl.normal(xy))
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


def _table(raw: Array) -> Image:
    """Raw colours of up to 256 materials as a look-up table for three channels."""
    table = np.zeros((1, 256, 3), dtype=np.float32)
    table[0, : len(raw)] = raw
    return table


def lit(layer: Layer, scene: Scene, eye: Phone, curl: Curl, on_bench: bool = False) -> Image:
    """What the sensor would see of a layer, raster cell by cell, before exposure, shape (H, W, 3)."""
    cell_mm = 6.0 if on_bench else 1.0
    out = np.empty((*layer.index.shape, 3), dtype=np.float32)
    lamps = []
    for lamp in scene.lamps:
        glow = None if "brightener" in scene.without else layer.glow
        spectra = layer.spectra if glow is None else layer.spectra + lamp.glow() * glow
        change = np.zeros_like(spectra) if layer.change is None else layer.change
        tables = _table(eye.raw(spectra * lamp.power())), _table(eye.raw(change * lamp.power()))
        lamps.append((*tables, _field(lamp, layer, curl, on_bench, cell_mm)))
    for rows in bands(len(out)):
        index = cv2.merge([layer.index[rows]] * 3)
        mix = None if layer.mix is None or layer.change is None else cv2.merge([layer.mix[rows]] * 3)
        total: Image | None = None
        for table, change, field in lamps:
            seen = cv2.LUT(index, table)
            if mix is not None:
                seen = cv2.add(seen, cv2.multiply(cv2.LUT(index, change), mix))
            seen = cv2.multiply(seen, cv2.merge([field[rows]] * 3))
            total = seen if total is None else cv2.add(total, seen)
        out[rows] = total
    if layer.shade is not None:
        out *= layer.shade[..., None]
    if layer.gloss is not None and (scene.sheen > 0 or scene.glare):
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
    cells = ((mm @ inverse[:, :2].T + inverse[:, 2] - np.array(layer.origin_mm)) * layer.ppm - 0.5).astype(np.float32)
    alpha = np.ones(layer.index.shape, np.float32) if layer.alpha is None else layer.alpha
    step = BAND // CELL
    for top in range(0, ny, step):
        tall = min(step, ny - top)
        # one more coarse row on each side, so that bands meet without a seam
        maps = cv2.resize(cells[top : top + tall + 2], ((nx + 2) * CELL, (tall + 2) * CELL))
        rows = slice(y0 + top * CELL, min(y0 + (top + tall) * CELL, y1))
        maps = np.ascontiguousarray(maps[CELL : CELL + rows.stop - rows.start, CELL : CELL + x1 - x0])
        colour = cv2.remap(seen, maps, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        if on_bench:
            picture[rows] = colour
            continue
        cover = cv2.remap(alpha, maps, None, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=0)
        there = picture[rows, x0:x1]
        picture[rows, x0:x1] = cv2.add(there, cv2.multiply(cv2.subtract(colour, there), cv2.merge([cover] * 3)))


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
    eye = phone(scene.phone_seed, scene.world)
    width, height = camera.size
    frame = np.array([[0, 0], [width, 0], [width, height], [0, height]], dtype=float)
    ground = np.clip(camera.to_card(frame, on_bench=True), CARD_CENTRE - 900, CARD_CENTRE + 900)
    bench = bench_layer(scene.bench, ground.min(axis=0) - 10, ground.max(axis=0) + 10, scene.bench_seed)
    picture = np.empty((height, width, 3), dtype=np.float32)
    _paste(picture, bench, lit(bench, scene, eye, camera.curl, True), camera, on_bench=True)
    ppm = int(np.clip(2 * np.ceil(camera.px_per_mm() * 0.55), 6, 30))
    layers: list[Layer] = []
    if scene.card:
        sheet = sheet_of(scene)
        layers.append(card_layer(sheet, ppm, scene.sheet_seed))
    for lying in scene.strips:
        layers += strip_layers(lying, ppm)
    for build in scene.extras:
        layers += build(float(ppm), scene.shot_seed)
    layers += [_cover_layer(cover) for cover in scene.covers]
    for layer in layers:
        _paste(picture, layer, lit(layer, scene, eye, camera.curl), camera)
    return picture
