"""What phones do to pictures beside the tone curve: merged frames, local tone, denoised chroma, halos, a look.

Strengths are made up (no open measurement of phones' pipelines was found); a phone of the made-up world has none.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Image = NDArray[np.float32]
Codes = NDArray[np.uint8]


@dataclass(frozen=True)
class Processing:
    """One phone's pipeline beyond sensor, matrix and tone curve."""

    frames: float = 1.0  # exposures merged into one
    local: float = 0.0  # local tone mapping: share of the broad log brightness that is taken out
    edge: float = 0.02  # how large a step in log brightness the mapping takes for an edge (squared)
    chroma_px: float = 0.0  # spread of chroma noise reduction: colours bleed this far
    halo: float = 0.0  # sharpening at a large radius
    halo_px: float = 3.0
    hues: tuple[float, ...] = (0.0,) * 4  # turn of hue, degrees: cos and sin of hue, cos and sin of twice the hue
    chromas: tuple[float, ...] = (0.0,) * 4  # relative change of chroma, likewise
    veil: float = 0.0  # share of the light that a greasy lens spreads over a tenth of the picture


NONE = Processing()


@cache
def processing(seed: int) -> Processing:
    """The pipeline of a phone's seed, in the usual strengths."""
    rng = np.random.default_rng([seed, 73])
    return Processing(
        frames=float(rng.uniform(1, 8)),
        local=float(rng.choice([0.0, 1.0], p=[0.3, 0.7]) * rng.uniform(0.03, 0.2)),
        edge=float(10 ** rng.uniform(-2.5, -1.0)),
        chroma_px=float(rng.uniform(0.0, 3.0)),
        halo=float(rng.choice([0.0, 1.0], p=[0.4, 0.6]) * rng.uniform(0.05, 0.3)),
        halo_px=float(rng.uniform(2.0, 5.0)),
        hues=tuple(map(float, rng.normal(0, 1.5, 4))),
        chromas=tuple(map(float, rng.normal(0, 0.02, 4))),
        veil=float(rng.choice([0.0, 1.0], p=[0.6, 0.4]) * rng.uniform(0.0, 0.03)),
    )


def veiled(picture: Image, veil: float) -> Image:
    """Raw light (H, W, 3) with a share of it spread wide by the lens."""
    if veil <= 0:
        return picture
    height, width = picture.shape[:2]
    small = cv2.resize(picture, (64, 48), interpolation=cv2.INTER_AREA)
    wide = cv2.GaussianBlur(small, (0, 0), 6.4, borderType=cv2.BORDER_REPLICATE)
    spread = cv2.resize(wide, (width, height), interpolation=cv2.INTER_CUBIC)
    return np.asarray(cv2.addWeighted(picture, 1 - veil, spread, veil, 0))


def local_gain(balanced: Image, strength: float, edge: float) -> Image:
    """Gain (H, W) that evens out broad brightness and keeps edges: a guided filter of log brightness on itself."""
    height, width = balanced.shape[:2]
    small = cv2.resize(balanced.astype(np.float32), (width // 8, height // 8), interpolation=cv2.INTER_AREA)
    log = np.log(np.maximum(small.mean(axis=2), 1e-4 * float(small.max())))
    box = (max(width // 64, 3),) * 2

    def mean(values: Image) -> Image:
        return np.asarray(cv2.blur(values, box, borderType=cv2.BORDER_REFLECT))

    middle = mean(log)
    spread = mean(log * log) - middle * middle
    slope = spread / (spread + edge)
    base = mean(slope) * log + mean(middle - slope * middle)
    gain = np.exp(-strength * (base - base.mean()))
    return np.asarray(cv2.resize((gain / gain.max() * 1.05).astype(np.float32), (width, height)))


def _look(count: int, by: Processing) -> tuple[Image, Image]:
    """Turn (radians) and relative change of chroma at ``count`` hues round the circle."""
    hue = 2 * np.pi * np.arange(count) / count
    waves = np.stack([np.cos(hue), np.sin(hue), np.cos(2 * hue), np.sin(2 * hue)])
    turn = np.radians(np.array(by.hues) @ waves)
    return turn.astype(np.float32), (1 + np.array(by.chromas) @ waves).astype(np.float32)


def _turned(red: Image, blue: Image, by: Processing) -> tuple[Image, Image]:
    """Red and blue chroma, zero at grey, after the look: in steps of a 256th of the circle."""
    turn, gain = _look(256, by)
    at = np.round(np.arctan2(red, blue) * (256 / (2 * np.pi))).astype(np.int32) & 255
    cos, sin = (np.cos(turn) * gain)[at], (np.sin(turn) * gain)[at]
    return red * cos + blue * sin, blue * cos - red * sin


def looked(encoded: Array, by: Processing) -> Array:
    """Encoded colours (N, 3), 0 to 1, with the look of ``finished`` alone: what it does to a large even area."""
    if by == NONE:
        return encoded
    planes = cv2.cvtColor(encoded[None].astype(np.float32), cv2.COLOR_RGB2YCrCb)[0]
    red, blue = _turned(planes[:, 1] - np.float32(0.5), planes[:, 2] - np.float32(0.5), by)
    merged = np.stack([planes[:, 0], red + np.float32(0.5), blue + np.float32(0.5)], axis=1)
    return np.clip(cv2.cvtColor(merged[None], cv2.COLOR_YCrCb2RGB)[0].astype(float), 0.0, 1.0)


def finished(codes: Codes, by: Processing) -> Codes:
    """8-bit RGB (H, W, 3) with chroma smoothed and looked after, and lightness sharpened wide.

    Luma and chroma are those of JFIF (ITU-T T.871).
    """
    if by == NONE:
        return codes
    planes = cv2.cvtColor(codes, cv2.COLOR_RGB2YCrCb).astype(np.float32)
    luma, red, blue = (np.ascontiguousarray(planes[..., c]) for c in range(3))
    red, blue = red - 128.0, blue - 128.0
    if by.chroma_px > 0.3:
        red, blue = (cv2.GaussianBlur(p, (0, 0), by.chroma_px, borderType=cv2.BORDER_REPLICATE) for p in (red, blue))
    red, blue = _turned(red, blue, by)
    if by.halo > 0:
        soft = cv2.GaussianBlur(luma, (0, 0), by.halo_px, borderType=cv2.BORDER_REPLICATE)
        luma = luma + by.halo * (luma - soft)
    merged = np.clip(np.stack([luma, red + 128.0, blue + 128.0], axis=2), 0, 255)
    return np.asarray(cv2.cvtColor(np.round(merged).astype(np.uint8), cv2.COLOR_YCrCb2RGB))
