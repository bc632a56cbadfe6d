"""The measured world: cameras and lamps (here) and prints (``printed``) that were measured, in two halves by name.

No number of the reader may be chosen on the judging half; studies report on it.
"""

from __future__ import annotations

import csv
from functools import cache
from pathlib import Path
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from tests.scenes.spectra import WAVELENGTHS, binned

Array = NDArray[np.float64]
World = Literal["made-up", "choosing", "judging"]
WORLDS: tuple[World, ...] = ("made-up", "choosing", "judging")
CAMERAS = Path(__file__).parents[1] / "data" / "measured" / "cameras.csv"

# Tables of colour-science: CIE illuminants by name, light sources after "lamp:". Ordinary ones light a room or a bench
# well; poor ones leave gaps in the spectrum.
_ORDINARY = (
    "D55",
    "D75",
    "ID50",
    "ID65",
    "FL3.7",
    "FL3.9",
    "LED-BH1",
    "planck:2850",
    "lamp:60 A/W (Soft White)",
    "lamp:Daylight FL",
    "lamp:F40/C50 (Broadband FL)",
    "lamp:F40/CWX (Broadband FL)",
    "lamp:F40/N (Natural FL)",
    "lamp:Incandescent",
    "lamp:Natural",
    "lamp:Neodimium Incandescent",
    "lamp:PHOS-1",
    "lamp:PHOS-2",
    "lamp:PHOS-3",
    "lamp:PHOS-4",
    "lamp:Phosphor LED YAG",
)
_POOR = (
    "FL3.1",
    "FL3.12",
    "lamp:3-LED-1 (457/540/605)",
    "lamp:3-LED-3 (465/546/614)",
    "lamp:4-LED-1 (461/526/576/624)",
    "lamp:4-LED-2 (447/512/573/627)",
    "lamp:Cool White FL",
    "lamp:F32T8/TL830 (Triphosphor)",
    "lamp:F32T8/TL865/PLUS (Triphosphor)",
    "lamp:Triphosphor FL",
)


def half(names: tuple[str, ...], world: World) -> tuple[str, ...]:
    """Every other name, in alphabetical order: the choosing half starts with the first."""
    return tuple(sorted(names)[(0 if world == "choosing" else 1) :: 2])


def lamps(world: World, poor: bool = False) -> tuple[str, ...]:
    """Names of a half's lamps, for ``spectra.source``."""
    return half(_POOR if poor else _ORDINARY, world)


@cache
def cameras(world: World) -> dict[str, Array]:
    """Sensitivities of a half's cameras over the grid, each shape (31, 3), maximum 1 a channel."""
    channels: dict[str, list[Array]] = {}
    with CAMERAS.open(encoding="utf-8") as file:
        reader = csv.DictReader(file)
        grid = np.array([float(name) for name in reader.fieldnames or () if name.isdigit()])
        for row in reader:
            values = np.array([float(row[f"{wavelength:.0f}"]) for wavelength in grid])
            channels.setdefault(row["camera"], []).append(binned(grid, values))
    return {name: np.stack(channels[name], axis=1) for name in half(tuple(channels), world)}


def response(world: World, seed: int) -> Array:
    """One camera of a half behind a phone's infrared cut, shape (31, 3), maximum 1 a channel."""
    rng = np.random.default_rng([seed, 71])
    table = cameras(world)
    measured = table[str(rng.choice(sorted(table)))]
    cut = 1 / (1 + np.exp((WAVELENGTHS - rng.uniform(650, 680)) / 6))
    seen = measured * cut[:, None]
    return np.asarray(seen / seen.max(axis=0))
