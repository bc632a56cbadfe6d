"""What a phone does to the light on its sensor, down to the file."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image as PillowImage

from tests.scenes.expose import bands
from tests.scenes.icc import profile
from tests.scenes.phone import Image, Phone, noise, phone
from tests.scenes.processing import finished, local_gain, veiled
from tests.scenes.scene import Scene
from tests.scenes.spectra import source


def develop(picture: Image, scene: Scene) -> NDArray[np.uint8]:
    """Lens, sensor and the phone's own processing: (H, W, 3) raw light to 8-bit RGB."""
    eye = _lacking(phone(scene.phone_seed, scene.world), scene.without)
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
    d65, warm = neutral[0] / neutral[2], eye.raw(source("A"))[0] / eye.raw(source("A"))[2]
    warmth = float(np.clip(np.log(white[0] / white[2] / d65) / np.log(warm / d65), 0, 1))
    matrix = (eye.colour_matrix(warmth, scene.icc == "p3") * 65535.0).astype(np.float32)
    grain = noise((height, width), eye.smooth, rng)
    picture = _blur(picture, scene)
    picture = veiled(picture, eye.processing.veil)
    gain = _local_tone(picture * gains, scene.local_tone) if scene.local_tone > 0 else None
    if eye.processing.local > 0:
        evened = local_gain(picture * gains, eye.processing.local, eye.processing.edge)
        gain = evened if gain is None else gain * evened
    codes = np.empty(picture.shape, dtype=np.uint8)
    reach = int(np.ceil(3 * eye.psf))
    for rows in bands(height):
        low, high = max(rows.start - reach, 0), min(rows.stop + reach, height)
        soft = cv2.GaussianBlur(picture[low:high], (0, 0), eye.psf, borderType=cv2.BORDER_REPLICATE)
        raw = soft[rows.start - low : rows.stop - low] + flare.astype(np.float32)
        raw = cv2.multiply(raw, cv2.merge([shading[rows]] * 3))
        # plain numpy where a number meets all channels: OpenCV takes a bare number for the first channel's
        spread = cv2.sqrt(np.maximum(raw, 0) * np.float32(1.0 / eye.electrons) + np.float32(eye.read_noise**2))
        raw = cv2.add(raw, cv2.multiply(spread, grain[rows]))
        np.minimum(raw, np.float32(1.0), out=raw)
        balanced = np.minimum(raw * gains.astype(np.float32), np.float32(1.0))
        linear = cv2.transform(balanced, matrix)
        if gain is not None:
            linear = cv2.multiply(linear, cv2.merge([gain[rows]] * 3))
        np.clip(linear, 0.0, 65535.0, out=linear)
        codes[rows] = eye.tone_table()[linear.astype(np.uint16)]
    if eye.sharpen > 0.05:
        soft = cv2.GaussianBlur(codes, (0, 0), 1.2)
        codes = cv2.addWeighted(codes, 1 + eye.sharpen, soft, -eye.sharpen, 0)
    return finished(codes, eye.processing)


def _lacking(eye: Phone, without: frozenset[str]) -> Phone:
    """The phone with some of its faults switched off."""
    if "vignetting" in without:
        eye = replace(eye, vignetting=0.0)
    if "local tone" in without:
        eye = replace(eye, processing=replace(eye.processing, local=0.0))
    return eye


def _blur(picture: Image, scene: Scene) -> Image:
    """A hand that moved, a lens out of focus."""
    if scene.motion_px > 1:
        picture = cv2.filter2D(picture, -1, _streak(scene.motion_px, scene.motion_deg))
    if scene.defocus_px > 0:
        picture = cv2.GaussianBlur(picture, (0, 0), scene.defocus_px, borderType=cv2.BORDER_REPLICATE)
    return picture


def _streak(length: float, angle_deg: float) -> Image:
    size = int(length) | 1
    kernel = np.zeros((size, size), np.float32)
    c, d = size // 2, np.array([np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))]) * size / 2
    cv2.line(kernel, tuple(int(v) for v in c - d), tuple(int(v) for v in c + d), 1.0)
    return np.asarray(kernel / kernel.sum())


def _local_tone(balanced: Image, strength: float) -> Image:
    """Gain that lifts dark regions and holds bright ones, following the picture's broad brightness."""
    small = cv2.resize(balanced.astype(np.float32), (64, 48), interpolation=cv2.INTER_AREA).mean(axis=2)
    broad = cv2.GaussianBlur(np.maximum(small, 0.02 * small.max()), (0, 0), 4.0)
    gain = (broad / np.exp(np.log(broad).mean())) ** -strength
    gain = gain / gain.max() * 1.05
    return np.asarray(cv2.resize(gain.astype(np.float32), balanced.shape[1::-1], interpolation=cv2.INTER_CUBIC))


def encode(codes: NDArray[np.uint8], scene: Scene) -> bytes:
    """The file with the phone's quality, turned as the sensor lay, EXIF and profile beside it."""
    eye = phone(scene.phone_seed, scene.world)
    # the inverse of what the tag asks the viewer to do
    turned = {1: codes, 3: codes[::-1, ::-1], 6: np.rot90(codes, 1), 8: np.rot90(codes, -1)}[scene.orientation]
    picture = PillowImage.fromarray(np.ascontiguousarray(turned))
    exif = PillowImage.Exif()
    exif[0x0112] = scene.orientation
    if scene.camera is not None:
        exif[0x0110] = scene.camera
    if scene.taken_at is not None:
        exif.get_ifd(0x8769)[0x9003] = scene.taken_at
    out = io.BytesIO()
    options: dict[str, Any] = {} if scene.icc == "none" else {"icc_profile": profile(scene.icc)}
    if scene.form in ("JPEG", "WEBP", "HEIF"):
        options["quality"] = eye.quality if scene.quality is None else scene.quality
    if scene.form == "JPEG":
        options["subsampling"] = eye.subsampling
    if scene.form == "HEIF":
        import pillow_heif

        pillow_heif.register_heif_opener()
    picture.save(out, scene.form, exif=exif, **options)
    return out.getvalue()
