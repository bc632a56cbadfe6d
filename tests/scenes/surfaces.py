"""The printed card, a strip and the bench as layers of materials."""

from __future__ import annotations

from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import DICTIONARY, RING_RADIUS_MM, RING_SRGB, RING_WIDTH_MM, layout
from tests.scenes.backgrounds import pictured
from tests.scenes.layers import Array, Layer, noise_field, placed
from tests.scenes.printer import Printer
from tests.scenes.scene import Lying
from tests.scenes.spectra import N_BANDS, WAVELENGTHS, smooth_reflectances
from tests.scenes.strips import StripState, carrier_spectrum, kind

PAPER, BLACK, FAINT, RING, LABEL, FIRST_PATCH = 0, 1, 2, 3, 4, 5
FAINT_SRGB, LABEL_SRGB = (205, 205, 205), (150, 150, 150)
LINE_MM = 0.15


@lru_cache(maxsize=4)
def card_raster(ppm: int) -> NDArray[np.uint8]:
    """Which material each raster cell of the card is; ``ppm`` even, so that half millimetres fall on cell borders."""
    card = layout()
    raster = np.zeros((round(card.size_mm[1] * ppm), round(card.size_mm[0] * ppm)), dtype=np.uint8)

    def box(x: float, y: float, w: float, h: float) -> tuple[slice, slice]:
        return slice(round(y * ppm), round((y + h) * ppm)), slice(round(x * ppm), round((x + w) * ppm))

    def ring(centre: tuple[float, float], radius: float, width: float, material: int) -> None:
        middle = (round((centre[0] * ppm - 0.5) * 16), round((centre[1] * ppm - 0.5) * 16))
        cv2.circle(raster, middle, round(radius * ppm * 16), material, max(1, round(width * ppm)), cv2.LINE_8, 4)

    def words(at: tuple[float, float], text: str) -> None:
        place = (round(at[0] * ppm), round(at[1] * ppm))
        cv2.putText(raster, text, place, cv2.FONT_HERSHEY_SIMPLEX, 1.3 * ppm / 22, LABEL, max(1, round(0.12 * ppm)))

    x, y, w, h = card.lane_mm
    raster[box(x, y, w, h)] = FAINT
    line = max(LINE_MM, 1.0 / ppm)
    raster[box(x + line, y + line, w - 2 * line, h - 2 * line)] = PAPER
    for window in card.windows.values():
        ring(window.centre_mm, window.radius_mm, LINE_MM, FAINT)
        ring(window.centre_mm, RING_RADIUS_MM, RING_WIDTH_MM, RING)
    words((x + 5.0, y - 1.2), "dipped end")
    words((x + w - 13.0, y - 1.2), "strip, pads up")
    for name, window in card.windows.items():
        words((window.centre_mm[0] - 3.0, window.centre_mm[1] + window.radius_mm + 2.6), name)
    for n, patch in enumerate(card.patches):
        raster[box(*patch.rect_mm)] = FIRST_PATCH + n
    modules = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    side = modules.markerSize + 2
    for marker in card.markers:
        (left, top), size = marker.corners_mm[0], marker.corners_mm[1][0] - marker.corners_mm[0][0]
        bits = cv2.aruco.generateImageMarker(modules, marker.id, side)
        for r in range(side):
            for c in range(side):
                if bits[r, c] == 0:
                    raster[box(left + c * size / side, top + r * size / side, size / side, size / side)] = BLACK
    raster.setflags(write=False)
    return raster


def patch_spectra(sheet: Printer) -> Array:
    """Reflectance of the card's patches in layout order, brightener's glow under daylight included, shape (N, 31)."""
    plain = sheet.reflectance(layout().nominal_srgb())
    return np.asarray(plain + sheet.glow(plain))


def card_layer(sheet: Printer, ppm: int, seed: int) -> Layer:
    """The printed card; grain and drift of the print move the ink amounts."""
    rng = np.random.default_rng([seed, 9])
    srgb = (
        np.vstack([[[255, 255, 255], [0, 0, 0], FAINT_SRGB, RING_SRGB, LABEL_SRGB], layout().nominal_srgb() * 255])
        / 255.0
    )
    plain = sheet.reflectance(srgb)
    change = (sheet.reflectance(srgb, ink=1.1) - plain) / 0.1
    # bare paper has no ink to vary: its own formation is a little uneven
    change[(srgb == 1.0).all(axis=1)] = -0.12 * sheet.paper
    raster = card_raster(ppm)
    drift = noise_field(raster.shape, 45.0 * ppm, rng) * np.float32(sheet.drift)
    grain = noise_field(raster.shape, max(1.0, 0.18 * ppm), rng) * np.float32(sheet.grain)
    return Layer(raster, ppm, (0.0, 0.0), plain, change, drift + grain, sheet.glow(plain))


def strip_layers(lying: Lying, ppm: int) -> list[Layer]:
    """A strip on the card and the faint shadow it throws; its frame: x from the dipped end, origin in the middle."""
    state = lying.strip
    sort = kind(state.kind)
    rng = np.random.default_rng([state.lot_seed, state.strip_seed, 10])
    pads = pad_boxes(state)
    width, length = sort.width_mm, sort.length_mm
    shape = (round(width * ppm), round(length * ppm))
    ys, xs = (np.indices(shape, dtype=np.float32) + 0.5) / ppm
    xs, ys = xs - length / 2, ys - width / 2
    index = np.zeros(shape, dtype=np.uint8)
    mix = np.zeros(shape, dtype=np.float32)
    mottle = noise_field(shape, 0.8 * ppm, rng) * 0.025 + noise_field(shape, 3.0 * ppm, rng) * 0.015
    rim = rng.uniform(-0.05, 0.12)
    for p, (left, top, w, h) in enumerate(pads):
        inside = (xs >= left) & (xs < left + w) & (ys >= top) & (ys < top + h)
        edge = np.minimum(np.minimum(xs - left, left + w - xs), np.minimum(ys - top, top + h - ys))
        index[inside] = 1 + p
        creep = state.drying * (0.5 * np.exp(-edge / 0.9) - 0.15)
        mix[inside] = (
            creep[inside]
            + state.front * ((xs - left) / w - 0.5)[inside]
            + (mottle + rim * np.exp(-edge / 0.35) + rng.normal(0, 0.01) * (xs - left - w / 2) / w)[inside]
        )
    plain = state.pad_spectra()
    spectra = np.vstack([carrier_spectrum(state.lot_seed)[None], plain])
    change = np.vstack([np.zeros((1, N_BANDS)), (state.pad_spectra(1.1) - plain) / 0.1])
    gloss = np.concatenate([[0.5], np.full(len(pads), 1.0 if state.wet else 0.05)])
    to_card = placed(lying.x_mm, lying.y_mm, lying.angle_deg + (180.0 if lying.flipped else 0.0))
    shade = (1.0 + state.bend * xs / (length / 2)).astype(np.float32) if state.bend else None
    left = np.s_[:, : shape[1] - round(state.cut_mm * ppm)]
    index, mix, shade = index[left], mix[left], None if shade is None else shade[left]
    origin = (-length / 2, -width / 2)
    strip = Layer(index, ppm, origin, spectra, change, mix, to_card=to_card, gloss=gloss, shade=shade)
    return [_cast(strip, rng), strip]


def _cast(strip: Layer, rng: np.random.Generator) -> Layer:
    """The soft dark seam around something 0.3 mm thick that lies on paper."""
    margin, ppm = 2.0, 6
    w, h = strip.size_mm
    mask = np.zeros((round((h + 2 * margin) * ppm), round((w + 2 * margin) * ppm)), dtype=np.float32)
    dx, dy = rng.normal(0, 0.25, 2) * ppm
    top, left = round(margin * ppm + dy), round(margin * ppm + dx)
    mask[top : top + round(h * ppm), left : left + round(w * ppm)] = rng.uniform(0.1, 0.3)
    mask = cv2.GaussianBlur(mask, (0, 0), 0.35 * ppm)
    origin = (strip.origin_mm[0] - margin, strip.origin_mm[1] - margin)
    return Layer(np.zeros(mask.shape, np.uint8), ppm, origin, np.zeros((1, N_BANDS)), alpha=mask, to_card=strip.to_card)


def pad_boxes(state: StripState) -> list[tuple[float, float, float, float]]:
    """Pads (x, y, w, h) in the strip's own frame as they really lie: glued on about 0.2 mm off."""
    sort = kind(state.kind)
    rng = np.random.default_rng([state.lot_seed, state.strip_seed, 11])
    off, sway = rng.normal(0, 0.2, len(sort.pads)), rng.normal(0, 0.1, len(sort.pads))
    boxes = []
    for p, pad in enumerate(sort.pads):
        if sort.is_roll:
            boxes.append((-sort.length_mm / 2, -sort.width_mm / 2, sort.length_mm, sort.width_mm))
        else:
            left = max(pad.offset_mm + off[p], 0.0) - sort.length_mm / 2
            boxes.append((left, -sort.width_mm / 2 + max(sway[p], 0.0), pad.length_mm, sort.width_mm - abs(sway[p])))
    return boxes


def bench_layer(style: str, low: Array, high: Array, seed: int) -> Layer:
    """Bench top over the box from ``low`` to ``high`` (card mm): wood, grey, tiles, dark, clutter or ``photo:NAME``."""
    if style.startswith("photo:"):
        return pictured(style.partition(":")[2], low, high, seed)
    rng = np.random.default_rng([seed, 12])
    extent = high - low
    ppm = float(np.clip(np.sqrt(6e5 / np.prod(extent)), 0.5, 4.0))
    shape = (max(int(extent[1] * ppm), 2), max(int(extent[0] * ppm), 2))
    index = np.zeros(shape, dtype=np.uint8)
    base = {"wood": 0.25, "grey": rng.uniform(0.1, 0.5), "tiles": 0.6, "dark": 0.04, "clutter": 0.3}[style]
    tint = smooth_reflectances(seed, 12)
    spectra = np.vstack([np.full(N_BANDS, base), tint])
    if style == "wood":
        spectra[0] = base * (0.55 + 0.9 / (1 + np.exp(-(WAVELENGTHS - 560) / 60)))
        ridge = np.repeat(noise_field((shape[0], max(shape[1] // 24, 2)), 2.0 * ppm, rng), 24, axis=1)
        mix = cv2.resize(ridge, shape[::-1]) * np.float32(0.12) + noise_field(shape, 8 * ppm, rng) * np.float32(0.06)
    else:
        mix = noise_field(shape, 1.0 * ppm if style != "tiles" else 20 * ppm, rng) * np.float32(0.05)
    if style == "tiles":
        spectra[1] = 0.35
        step, gap = rng.uniform(40, 110) * ppm, max(3.0 * ppm, 1)
        rows, cols = np.indices(shape)
        index[((rows + rng.uniform(0, step)) % step < gap) | ((cols + rng.uniform(0, step)) % step < gap)] = 1
    if style == "clutter":
        for n in range(14):
            middle = tuple(int(v) for v in rng.uniform(0, 1, 2) * shape[::-1])
            box = (middle, tuple(rng.uniform(15, 90, 2) * ppm), float(rng.uniform(0, 180)))
            cv2.fillPoly(index, [cv2.boxPoints(box).astype(np.int32)], 1 + n % 12)
    origin = (float(low[0]), float(low[1]))
    return Layer(index, ppm, origin, spectra, spectra, mix)
