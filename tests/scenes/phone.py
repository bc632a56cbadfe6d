"""Phones: sensor, white balance, colour matrix, tone curve, noise, lens. No two are alike."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import colour
import cv2
import numpy as np
from numpy.typing import NDArray

from tests.scenes.measured import World, response
from tests.scenes.processing import NONE, Processing, processing
from tests.scenes.spectra import WAVELENGTHS, observer, smooth_reflectances, source

Array = NDArray[np.float64]
Image = NDArray[np.float32]

# IEC 61966-2-1 and the Display P3 primaries with the same D65 white; seen through colour-science
XYZ_TO_SRGB = np.asarray(colour.RGB_COLOURSPACES["sRGB"].matrix_XYZ_to_RGB)
XYZ_TO_P3 = np.asarray(colour.RGB_COLOURSPACES["Display P3"].matrix_XYZ_to_RGB)
POOL = 1024


def _sensitivities(rng: np.random.Generator) -> Array:
    """Spectral response of red, green and blue pixels, each with its maximum at 1, shape (31, 3)."""
    table = next(iter(colour.MSDS_CAMERA_SENSITIVITIES.values()))
    measured = np.stack([np.interp(WAVELENGTHS, table.wavelengths, table.values[:, c]) for c in range(3)], axis=1)
    bands = []
    for centre, below, above in ((600, 30, 45), (535, 36, 40), (458, 26, 30)):
        at = centre + rng.normal(0, 6)
        width = np.where(at > WAVELENGTHS, below, above) * np.exp(rng.normal(0, 0.1))
        bands.append(np.exp(-0.5 * ((WAVELENGTHS - at) / width) ** 2))
    made = np.stack(bands, axis=1)
    crosstalk = np.full((3, 3), 0.0)
    for a, b in ((0, 1), (1, 0), (1, 2), (2, 1)):
        crosstalk[a, b] = rng.uniform(0.03, 0.12)
    made = made + made @ crosstalk
    share = rng.choice([0.0, 0.5, 1.0], p=[0.6, 0.2, 0.2])
    moved = np.stack([np.interp(WAVELENGTHS + rng.normal(0, 4), WAVELENGTHS, measured[:, c]) for c in range(3)], axis=1)
    response = share * moved / moved.max(axis=0) + (1 - share) * made / made.max(axis=0)
    cut = 1 / (1 + np.exp((WAVELENGTHS - rng.uniform(655, 680)) / 6)) / (1 + np.exp((410 - WAVELENGTHS) / 5))
    response = response * cut[:, None]
    return np.asarray(response / response.max(axis=0))


@dataclass(frozen=True)
class Phone:
    """One model of phone. Scene light of 1 is the level at which a green pixel fills."""

    response: Array  # (31, 3)
    white_error: Array  # log error of its white balance (3,)
    adaptation: float  # 1 = lamp's colour wholly taken out
    saturation: float
    matrix_error: Array  # (3, 3) what is wrong with the maker's matrix
    gamma: float  # 0 = the sRGB curve, else a pure power
    s_curve: float  # contrast added in the encoded signal
    shoulder: float  # highlight roll-off
    lift: float  # blacks raised (+) or crushed (-)
    electrons: float  # at full well, at this picture's sensitivity
    read_noise: float  # of full scale
    smooth: float  # pixels, noise correlation from demosaicing and noise reduction
    sharpen: float
    psf: float  # lens blur, pixels
    vignetting: float  # loss in the corner
    radial: float  # distortion left after the maker's correction
    flare: float  # veiling glare, share of the mean
    quality: int
    subsampling: int
    processing: Processing = NONE

    @classmethod
    def from_seed(cls, seed: int, world: World = "made-up") -> Phone:
        """A phone drawn from the population; in a measured world with a measured camera and a pipeline of its own."""
        if world != "made-up":
            made = cls.from_seed(seed)
            by = processing(seed)
            electrons, read_noise = made.electrons * by.frames, made.read_noise / by.frames**0.5
            seen = response(world, seed)
            return replace(made, response=seen, electrons=electrons, read_noise=read_noise, processing=by)
        rng = np.random.default_rng([seed, 7])
        matrix_error = rng.normal(0, 0.02, (3, 3))
        matrix_error -= matrix_error.mean(axis=1, keepdims=True)  # white stays where the white balance puts it
        return cls(
            response=_sensitivities(rng),
            white_error=rng.normal(0, 0.02, 3),
            adaptation=rng.uniform(0.85, 1.0),
            saturation=rng.uniform(1.0, 1.25),
            matrix_error=matrix_error,
            gamma=float(rng.choice([0.0, 2.0, 2.2, 2.4], p=[0.7, 0.05, 0.15, 0.1])),
            s_curve=float(rng.choice([0.0, 1.0], p=[0.2, 0.8]) * rng.uniform(0.05, 0.5)),
            shoulder=float(rng.choice([0.0, 1.0], p=[0.4, 0.6]) * rng.uniform(0.2, 1.6)),
            lift=rng.uniform(-0.015, 0.03),
            electrons=float(10 ** rng.uniform(3.2, 4.1)),
            read_noise=float(10 ** rng.uniform(-3.2, -2.5)),
            smooth=rng.uniform(0.5, 1.0),
            sharpen=rng.uniform(0.0, 0.7),
            psf=rng.uniform(0.5, 1.0),
            vignetting=rng.uniform(0.02, 0.25),
            radial=rng.normal(0, 0.004),
            flare=rng.uniform(0.002, 0.02),
            quality=int(rng.integers(80, 96)),
            subsampling=int(rng.choice([0, 2], p=[0.2, 0.8])),
        )

    def raw(self, light: Array) -> Array:
        """Response to spectral power (..., 31) -> (..., 3); a white card in unit illuminance gives about 1 in green."""
        green = source("D65") @ self.response[:, 1]
        return np.asarray(light @ self.response / green)

    def colour_matrix(self, warmth: float, wide: bool) -> Array:
        """White-balanced raw to linear output, blended between the maker's two calibration lights (A and D65)."""
        reflectances = smooth_reflectances(11, 120)
        out = XYZ_TO_P3 if wide else XYZ_TO_SRGB
        target = (reflectances * source("D65")) @ observer()
        target = target @ out.T
        mean = target @ np.array([0.2126, 0.7152, 0.0722])
        target = mean[:, None] + self.saturation * (target - mean[:, None])
        matrices = []
        for name in ("D65", "A"):
            raw = self.raw(reflectances * source(name)) / self.raw(source(name))
            m = np.linalg.lstsq(raw, target, rcond=None)[0].T
            matrices.append(m / m.sum(axis=1, keepdims=True))
        return np.asarray((1 - warmth) * matrices[0] + warmth * matrices[1] + self.matrix_error)

    def tone(self, linear: Array) -> Array:
        """Linear output in 0 to 1 to the encoded signal in 0 to 1; rising everywhere."""
        x = np.clip(linear, 0, 1)
        if self.shoulder > 0:
            x = (1 - np.exp(-self.shoulder * x)) / (1 - np.exp(-self.shoulder))
        srgb = np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.maximum(x, 1e-9) ** (1 / 2.4) - 0.055)
        y = srgb if self.gamma == 0 else x ** (1 / self.gamma)
        y = y + self.s_curve * (y * y * (3 - 2 * y) - y)
        return np.asarray(np.clip(self.lift + (1 - self.lift) * y, 0, 1))

    @cache  # noqa: B019  (few phones, each used for many photos)
    def tone_table(self) -> NDArray[np.uint8]:
        """The tone curve at 16 bit, as the 8-bit code."""
        return np.asarray(np.round(self.tone(np.arange(65536) / 65535.0) * 255.0).astype(np.uint8))

    __hash__ = object.__hash__  # arrays inside: two phones are equal only if they are the same object


@cache
def phone(seed: int, world: World = "made-up") -> Phone:
    """The phone of a seed, made once."""
    return Phone.from_seed(seed, world)


@cache
def noise_pool(smooth_tenths: int) -> Image:
    """A tile of noise correlated over ``smooth_tenths`` / 10 pixels, unit spread, wrapped at its edges."""
    rng = np.random.default_rng([smooth_tenths, 8])
    tile = rng.standard_normal((POOL, POOL, 3)).astype(np.float32)
    edge = 16
    wide = cv2.copyMakeBorder(tile, edge, edge, edge, edge, cv2.BORDER_WRAP)
    tile = cv2.GaussianBlur(wide, (0, 0), smooth_tenths / 10)[edge:-edge, edge:-edge]
    return np.asarray(tile / tile.std())


def noise(shape: tuple[int, int], smooth: float, rng: np.random.Generator) -> Image:
    """Unit noise of a picture's shape, cut from the tile at a random place."""
    tile = noise_pool(max(3, round(smooth * 10)))
    y, x = rng.integers(0, POOL, 2)
    tile = np.roll(tile, (int(y), int(x)), axis=(0, 1))
    if rng.random() < 0.5:
        tile = tile[::-1]
    rows, cols = -(-shape[0] // POOL), -(-shape[1] // POOL)
    return np.asarray(np.tile(tile, (rows, cols, 1))[: shape[0], : shape[1]])
