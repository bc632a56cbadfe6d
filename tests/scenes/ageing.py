"""What months do to a printed card: inks lose density, paper turns yellow and glows less."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from tests.scenes.printer import Printer
from tests.scenes.scene import Scene
from tests.scenes.spectra import WAVELENGTHS

# Density left of C, M, Y, K at an age of 1: dyes fade unevenly, magenta first (common practice, no source).
FADED = np.array([0.80, 0.65, 0.80, 0.97])
YELLOWED = 0.12  # share of violet light that the paper takes at an age of 1, from memory
GLOW_LEFT = 0.5  # of the brightener at an age of 1, from memory


def aged(sheet: Printer, fade: float, yellow: float) -> Printer:
    """The sheet later: ``fade`` and ``yellow`` are 0 for new and 1 for much."""
    if not fade and not yellow:
        return sheet
    return replace(
        sheet,
        first=sheet.first or sheet,
        inks=sheet.inks * (FADED**fade)[:, None],
        paper=sheet.paper * (1 - YELLOWED * yellow * np.exp(-(WAVELENGTHS - 400.0) / 60.0)),
        brightener=sheet.brightener * GLOW_LEFT ** max(fade, yellow),
    )


def sheet_of(scene: Scene) -> Printer:
    """The sheet of paper that lies in a scene, as old as it is."""
    printer = Printer.from_seed(scene.printer_seed, scene.grey_printer, scene.world)
    return aged(printer.sheet(scene.sheet_seed), scene.faded, scene.yellowed)
