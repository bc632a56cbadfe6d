"""Measured prints, and what months and handling do: cards that fade, strips bent and soaked, photographs behind."""

from dataclasses import replace

import numpy as np
import pytest

from tests.scenes import random_scene
from tests.scenes.ageing import aged, sheet_of
from tests.scenes.backgrounds import pictured
from tests.scenes.measured import WORLDS
from tests.scenes.printed import bent, conditions, printed_xyz
from tests.scenes.printer import Printer
from tests.scenes.scene import PICTURED
from tests.scenes.spectra import smooth_reflectances, true_lab, true_xyz
from tests.scenes.strips import StripState
from tests.scenes.surfaces import bench_layer, patch_spectra, strip_layers

MEASURED = [world for world in WORLDS if world != "made-up"]


def test_the_halves_share_no_print():
    assert set(conditions("choosing")).isdisjoint(conditions("judging"))
    assert len(conditions("choosing")) == len(conditions("judging")) == 4


# Rows of the characterisation data themselves (FOGRA29, FOGRA39; see tests/data/measured/README.md): dots, XYZ.
ROWS = [
    ("FOGRA29", (0, 0, 0, 0), (0.8644, 0.8931, 0.7637)),
    ("FOGRA29", (0, 1, 0, 0), (0.3772, 0.2297, 0.2087)),
    ("FOGRA39", (0, 0, 0, 1), (0.0202, 0.0210, 0.0173)),
]


@pytest.mark.parametrize(("condition", "dots", "xyz"), ROWS)
def test_measured_dots_have_their_measured_colour(condition, dots, xyz):
    assert printed_xyz(condition, np.array([dots], float))[0] == pytest.approx(xyz, abs=2e-4)


def test_a_bent_spectrum_has_the_wanted_colour_and_stays_smooth():
    spectra, wanted = smooth_reflectances(3, 12), true_xyz(smooth_reflectances(4, 12))
    factors = bent(spectra, wanted)
    assert true_xyz(spectra * factors) == pytest.approx(wanted, abs=1e-6)
    assert np.abs(np.diff(np.log(factors), axis=1)).max() < 0.6


@pytest.mark.parametrize("world", MEASURED)
def test_the_card_has_the_printers_measured_colours(world):
    printer = Printer.from_seed(3, False, world)
    srgb = np.array([[1.0, 1.0, 1.0], [0.8, 0.2, 0.3], [0.1, 0.5, 0.6]])
    assert printer.condition in conditions(world)
    measured = printed_xyz(printer.condition, printer.sent(srgb))
    assert true_xyz(printer.reflectance(srgb)) == pytest.approx(measured, abs=1e-6)
    assert Printer.from_seed(3).condition is None


@pytest.mark.parametrize("world", MEASURED)
def test_sheets_of_a_printer_are_alike_but_not_the_same(world):
    printer = Printer.from_seed(5, False, world)
    first, second = (true_lab(patch_spectra(printer.sheet(n))) for n in (1, 2))
    assert 0.2 < np.linalg.norm(first - second, axis=1).mean() < 2.5


def test_ink_fades_from_magenta_and_paper_yellows():
    printer = Printer.from_seed(5, False, "choosing")
    srgb = np.array([[1.0, 1.0, 1.0], [1.0, 0.0, 1.0], [0.0, 1.0, 1.0]])
    new, old = (true_lab(sheet.reflectance(srgb)) for sheet in (printer, aged(printer, 1.0, 0.0)))
    assert old[0] == pytest.approx(new[0])
    assert (old[1:, 0] > new[1:, 0] + 2).all()
    assert old[1, 0] - new[1, 0] > old[2, 0] - new[2, 0]
    yellowed = true_lab(aged(printer, 0.0, 1.0).reflectance(srgb))
    assert yellowed[0, 2] > new[0, 2] + 2
    assert aged(printer, 0.0, 0.0) is printer
    scene = random_scene(np.random.default_rng(1), world="choosing")
    assert sheet_of(replace(scene, faded=0.5)).inks[1] == pytest.approx(sheet_of(scene).inks[1] * 0.65**0.5)


def test_a_strip_soaked_one_way_bent_and_translucent():
    plain = StripState("four", 5.0, 1, 2)
    strip = strip_layers(random_scene(np.random.default_rng(1)).strips[0], 6)[1]
    assert strip.shade is None
    lying = replace(random_scene(np.random.default_rng(1)).strips[0], strip=replace(plain, front=0.2, bend=0.05))
    flat = strip_layers(replace(lying, strip=plain), 6)[1]
    used = strip_layers(lying, 6)[1]
    pad = used.index == 1
    columns = np.nonzero(pad.any(axis=0))[0]
    change = (used.mix - flat.mix)[:, columns].mean(axis=0)
    assert change[-1] - change[0] == pytest.approx(0.2, abs=0.03)
    assert used.shade[:, 0].mean() == pytest.approx(0.95, abs=0.005)
    assert used.shade[:, -1].mean() == pytest.approx(1.05, abs=0.005)
    assert replace(plain, through=0.05).pad_spectra().min() > plain.pad_spectra().min()


def test_only_a_measured_world_has_used_strips_and_photographs():
    def drawn(world):
        return [random_scene(np.random.default_rng([n, 2]), world=world) for n in range(40)]

    made, used = drawn("made-up"), drawn("choosing")
    assert not any(scene.strips[0].strip.bend or scene.bench in PICTURED for scene in made)
    assert all(scene.strips[0].strip.bend for scene in used)
    assert 8 <= sum(scene.bench in PICTURED for scene in used) <= 24  # 4 in 10 wanted


@pytest.mark.parametrize("style", PICTURED)
def test_a_photograph_lies_under_everything(style):
    low, high = np.array([-100.0, -80.0]), np.array([250.0, 180.0])
    layer = bench_layer(style, low, high, 7)
    assert layer.size_mm == pytest.approx(tuple(high - low), rel=0.02)
    assert len(np.unique(layer.index)) >= 4
    assert layer.spectra.min() >= 0
    assert layer.spectra.max() < 1
    assert pictured(style.partition(":")[2], low, high, 8).index.tolist() != layer.index.tolist()
