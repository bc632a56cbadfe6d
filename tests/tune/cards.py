"""Verdicts on a photo's card and light, from what the profile's own card gives in ordinary light, and other cards."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from stripread.correction.same_card import TYPICAL
from stripread.tuned import Value
from tests import card_study
from tests.tune.engine import Tuning

PACKAGE = "stripread.correction"
READS = 8  # rendered photos of a setup's own card
OWN_BEYOND = 1 / 100  # share of photos of the profile's own card that may be taken for another's
DOUBTED = 4 / 1000  # share of photos in ordinary light that may be called poorly lit


@dataclass(frozen=True)
class Misfits:
    """Misfits of rendered photos of one setup, in standard deviations: of its own card, and of other cards."""

    own: tuple[float, ...]
    another: tuple[float, ...]


def looks(setup: int) -> dict[str, list[card_study.Look]]:
    """Photos of one setup as ``tests.card_study`` takes them; every other pair is of the measured choosing half."""
    return card_study.run(setup, READS, "choosing" if setup // 2 % 2 else "made-up")


def draw_misfits(setup: int) -> Misfits:
    """Misfits of photos of the setup's own card in ordinary light, and of other printers' cards."""
    found = looks(setup)
    own, another = (
        tuple(TYPICAL * look.misfit for look in found[what] if not np.isnan(look.misfit))
        for what in ("same card", "another printer")
    )
    return Misfits(own, another)


def quantile(values: Sequence[float], share: float) -> float:
    """The value that ``share`` of them lie below; beyond the data by a lognormal about their median.

    A few dozen photos have no 1 in 200; what is far out is drawn on from the upper half's spread.
    """
    log = np.log(np.asarray(values, dtype=np.float64))
    if len(log) * (1.0 - share) >= 1.0:
        return float(np.exp(np.quantile(log, share)))
    from scipy.special import ndtri

    middle = float(np.median(log))
    upper = float((np.quantile(log, 0.84) - middle) / ndtri(0.84))
    return float(np.exp(middle + upper * ndtri(share)))


def _fit_typical(setups: Sequence[Misfits]) -> Value:
    return float(f"{np.median([m for s in setups for m in s.own]):.3g}")


def _judge_typical(setup: Misfits, value: Value) -> dict[str, float]:
    return {"median misfit of its own card, 1 is aimed at": float(np.median(setup.own) / _number(value))}


def _fit_other_card(setups: Sequence[Misfits]) -> Value:
    return float(f"{quantile([m / TYPICAL for s in setups for m in s.own], 1.0 - OWN_BEYOND):.3g}")


def _judge_other_card(setup: Misfits, value: Value) -> dict[str, float]:
    limit = _number(value) * TYPICAL
    return {
        "own cards taken for another": float(np.mean(np.array(setup.own) > limit)),
        "another printer's noticed": float(np.mean(np.array(setup.another) > limit)) if setup.another else np.nan,
    }


@dataclass(frozen=True)
class DyesOff:
    """How far dyes are foretold to be off in photos of one setup: in ordinary light, in poor light."""

    ordinary: tuple[float, ...]
    poor: tuple[float, ...]


def draw_dyes_off(setup: int) -> DyesOff:
    """Photos by other phones; poor light is what ``random_lamps`` has for hard scenes."""
    found = looks(setup)
    ordinary, poor = (tuple(look.dyes_off for look in found[what]) for what in ("same card", "same card, hard light"))
    return DyesOff(ordinary, poor)


def _fit_dyes_off(setups: Sequence[DyesOff]) -> Value:
    return float(f"{quantile([d for s in setups for d in s.ordinary], 1.0 - DOUBTED):.3g}")


def _judge_dyes_off(setup: DyesOff, value: Value) -> dict[str, float]:
    limit = _number(value)
    return {
        "doubted in ordinary light": float(np.mean(np.array(setup.ordinary) > limit)),
        "doubted in poor light": float(np.mean(np.array(setup.poor) > limit)),
    }


def _number(value: Value) -> float:
    assert not isinstance(value, tuple)
    return value


TUNINGS = {
    "typical": Tuning(PACKAGE, draw_misfits, _fit_typical, _judge_typical),
    "other_card": Tuning(PACKAGE, draw_misfits, _fit_other_card, _judge_other_card),
    "dyes_off": Tuning(PACKAGE, draw_dyes_off, _fit_dyes_off, _judge_dyes_off),
}
