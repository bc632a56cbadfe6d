"""When a card that fits badly is called faded: by sampled photos of cards as they were, and much faded ones.

The choosing half of the measured world and the made-up one in turns; a setup is a card and the phone that learned it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calibration.card_estimate import estimate_card
from stripread.card.patches import PatchSamples
from stripread.card.values import CardValues
from stripread.correction.fading import FADED, ink_lost
from stripread.correction.fit import fix_colour
from stripread.correction.same_card import card_misfit
from stripread.correction.verdicts import OTHER_CARD, PERHAPS_FADED
from stripread.errors import Refused
from stripread.tuned import Value
from tests.scenes.measured import World
from tests.scenes.scene import random_scene
from tests.tune.engine import Tuning
from tests.tune.sampled import sampled_photo

PACKAGE = "stripread.correction"
LEARNED, OWN, OLD = 26, 12, 6  # photos that the card is learned from, of it as it was, of it much faded
PATCH_SD = 0.0015  # with it the profile's own card has a misfit of about 1, as rendered photos have
LOOKED_AT = 0.05  # share of the own card's photos that may be looked at for fading
WRONGED = 1 / 200  # share of them that may be called faded


@dataclass(frozen=True)
class Look:
    """One photo: its misfit and the natural log by which its inks have become lighter."""

    misfit: float
    cyan: float
    magenta: float
    yellow: float


@dataclass(frozen=True)
class Looks:
    """Photos of one setup's card as it was, and much faded."""

    own: tuple[Look, ...]
    faded: tuple[Look, ...]


def samples_of(setup: int, draw: int, tag: int, faded: float = 0.0, phone: int | None = None) -> PatchSamples:
    """The card's patches on one sampled photo."""
    world: World = "choosing" if setup // 2 % 2 else "made-up"
    fixed = {"printer_seed": setup, "sheet_seed": setup, "world": world, "faded": faded, "yellowed": faded}
    if phone is not None:
        fixed["phone_seed"] = phone
    scene = replace(random_scene(np.random.default_rng([setup, draw, tag]), **fixed), icc="srgb", local_tone=0.0)
    strips = [lying.strip for lying in scene.strips]
    return sampled_photo(scene, strips, np.random.default_rng([setup, draw, tag, 5]), PATCH_SD).samples


def draw(setup: int) -> Looks:
    """Learn a card, and look at photos by other phones in other light."""
    card = estimate_card([samples_of(setup, n, 77, phone=setup) for n in range(LEARNED)])
    own = [_look(samples_of(setup, n, 99), card) for n in range(OWN)]
    old = [_look(samples_of(setup, n, 95, faded=1.0), card) for n in range(OLD)]
    return Looks(tuple(look for look in own if look), tuple(look for look in old if look))


def _look(samples: PatchSamples, card: CardValues) -> Look | None:
    try:
        fix = fix_colour(samples, card)
        lost = ink_lost(fix, samples, card)
    except Refused:
        return None
    return Look(card_misfit(fix, samples, card), *(float(v) for v in lost))


def told(look: Look, perhaps: float = PERHAPS_FADED, least: float = FADED) -> bool:
    """Whether a photo's card is called another or faded, with these limits."""
    faded = look.magenta > max(least, look.cyan, look.yellow)
    return look.misfit > OTHER_CARD or (look.misfit > perhaps and faded)


def _judge(name: str, setup: Looks, value: Value) -> dict[str, float]:
    assert not isinstance(value, tuple)
    limit = {name: value}
    return {
        "own cards called faded or another": float(np.mean([told(look, **limit) for look in setup.own])),
        "much faded cards told": float(np.mean([told(look, **limit) for look in setup.faded])),
    }


def _fit_perhaps(setups: Sequence[Looks]) -> Value:
    return float(f"{np.quantile([look.misfit for s in setups for look in s.own], 1 - LOOKED_AT):.2g}")


def _fit_least(setups: Sequence[Looks]) -> Value:
    """The least at which so few of the own card's photos are called faded."""
    own = [look for s in setups for look in s.own]
    for value in np.arange(0.1, 0.6, 0.02):
        if np.mean([told(look, least=float(value)) and look.misfit <= OTHER_CARD for look in own]) <= WRONGED:
            return float(f"{value:.2f}")
    return 0.6


TUNINGS = {
    "perhaps_faded": Tuning(PACKAGE, draw, _fit_perhaps, lambda setup, value: _judge("perhaps", setup, value)),
    "faded": Tuning(PACKAGE, draw, _fit_least, lambda setup, value: _judge("least", setup, value)),
}
