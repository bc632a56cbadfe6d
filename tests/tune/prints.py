"""Limits of a printed card: where good prints end, and prints that lack an ink or are washed out begin.

A setup is one printer: photos of its card by strangers' phones (of the choosing half of the measured world and made-up
ones in turns), and of made-up printers the same card with one ink nearly used up.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from unittest.mock import patch

import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import layout
from stripread.card.patches import PatchSamples
from stripread.card.values import nominal_values
from stripread.correction.fit import fix_colour
from stripread.printed import checks
from stripread.tuned import Value
from tests.scenes.printer import Printer
from tests.scenes.scene import Scene
from tests.tune import sampled
from tests.tune.engine import Tuning
from tests.tune.sampled import sampled_photo, scene_of_setup, world_of

Array = NDArray[np.float64]

PACKAGE = "stripread.printed"
PHOTOS = 6
USED_UP = 0.05  # of an ink's density
FEW = 0.01  # share of good prints that may be asked about


@dataclass(frozen=True)
class Measured:
    """What the checks look at in one photo: each ink's effect (3,), black, grey steps (11,), copies of a step apart."""

    gains: Array
    black: float
    steps: Array
    apart: float


@dataclass(frozen=True)
class Prints:
    """Photos of one printer's good prints, and of prints that lack cyan, magenta or yellow."""

    good: tuple[Measured, ...]
    lacking: tuple[Measured, ...]


def draw(setup: int) -> Prints:
    """Photos of a printer's card, good and lacking an ink."""
    good = tuple(_seen(scene_of_setup(setup, n, 131), n) for n in range(PHOTOS))
    if world_of(setup) != "made-up":  # measured conditions have no inks of their own
        return Prints(good, ())
    return Prints(good, tuple(_seen(scene_of_setup(setup, n, 133), n, lacks=n % 3) for n in range(PHOTOS)))


def _seen(scene: Scene, n: int, lacks: int | None = None) -> Measured:
    rng, strips = np.random.default_rng([scene.shot_seed, n]), [lying.strip for lying in scene.strips]
    if lacks is None:
        return measured(sampled_photo(scene, strips, rng).samples)
    used_up = np.where(np.arange(4) == lacks, USED_UP, 1.0)[:, None]
    sheet_of: Callable[[Scene], Printer] = sampled.sheet_of
    with patch.object(sampled, "sheet_of", lambda of: replace(sheet_of(of), inks=sheet_of(of).inks * used_up)):
        return measured(sampled_photo(scene, strips, rng).samples)


def measured(samples: PatchSamples) -> Measured:
    """What the checks look at."""
    fix, card = fix_colour(samples, nominal_values()), layout()
    ramps = checks.grey_ramps(fix, samples, card)
    return Measured(
        checks.ink_gains(fix, samples, card),
        float(ramps[:, 0].min()),
        checks.grey_steps(ramps),
        checks.copies_apart(fix, samples, card),
    )


def _weakest(print_: Measured) -> float:
    return float(print_.gains.min() / np.median(print_.gains))


def _good(setups: Sequence[Prints]) -> list[Measured]:
    return [one for setup in setups for one in setup.good]


def _fit_missing(setups: Sequence[Prints]) -> Value:
    """As far from the last good prints as from the last of those that lack an ink."""
    good = np.quantile([_weakest(one) for one in _good(setups)], FEW)
    lacking = np.quantile([_weakest(one) for setup in setups for one in setup.lacking], 1.0 - FEW)
    return _two_digits(np.sqrt(good * lacking))


def _fit_usual(setups: Sequence[Prints]) -> Value:
    usual = np.median([one.gains * checks.INK_USUAL for one in _good(setups)], axis=0)
    return tuple(_two_digits(v) for v in usual / usual[0])


def _fit_steps(setups: Sequence[Prints]) -> Value:
    return float(np.quantile([(one.steps > checks.LEAST_STEP).sum() for one in _good(setups)], FEW, method="lower"))


def _two_digits(value: float) -> float:
    return float(f"{value:.2g}")


def _judge(setup: Prints, told: Callable[[Measured], bool]) -> dict[str, float]:
    """Shares of prints that are asked about by ``told``."""
    return {
        "good prints asked about": float(np.mean([told(one) for one in setup.good])),
        "prints that lack an ink, asked about": float(np.mean([told(one) for one in setup.lacking] or [np.nan])),
    }


def _limit(fit: Callable[[Sequence[Prints]], Value], told: Callable[[Measured, float], bool]) -> Tuning[Prints]:
    def judge(setup: Prints, value: Value) -> dict[str, float]:
        assert not isinstance(value, tuple)
        return _judge(setup, lambda one: told(one, value))

    return Tuning(PACKAGE, draw, fit, judge)


def _judge_usual(setup: Prints, value: Value) -> dict[str, float]:
    turned = np.array(checks.INK_USUAL) / np.array(value)
    return _judge(setup, lambda one: _weakest(replace(one, gains=one.gains * turned)) < checks.INK_MISSING)


def _of_good(quantity: Callable[[Measured], float], share: float) -> Callable[[Sequence[Prints]], Value]:
    return lambda setups: _two_digits(float(np.quantile([quantity(one) for one in _good(setups)], share)))


TUNINGS = {
    "ink_missing": _limit(_fit_missing, lambda one, value: _weakest(one) < value),
    "ink_usual": Tuning(PACKAGE, draw, _fit_usual, _judge_usual),
    "grey_black": _limit(_of_good(lambda one: one.black, 1.0 - FEW), lambda one, value: one.black > value),
    "least_step": _limit(
        _of_good(lambda one: float(np.sort(one.steps)[2]), FEW),  # the two darkest may run together
        lambda one, value: int((one.steps > value).sum()) < checks.LEAST_STEPS,
    ),
    "least_steps": _limit(_fit_steps, lambda one, value: int((one.steps > checks.LEAST_STEP).sum()) < value),
    "shine_rise": _limit(_of_good(lambda one: one.apart, 1.0), lambda one, value: one.apart > value),
}
