"""Is another card noticed, and the profile's own left in peace: `python -m tests.card_study --setups 10 --reads 20`.

A setup is one printer, one printed sheet and one calibrating phone; the card's values are estimated from its
calibration photos, as `stripread calibrate` does. Then photos by other phones in other light are tested: of the same
card (ordinary and hard light), of the same printer's next sheets, of the card faded or yellowed, and of other
printers' cards.
"""

from __future__ import annotations

import argparse
import os
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from multiprocessing import get_context
from typing import Any

import numpy as np

from calibration.card_estimate import estimate_card
from stripread.card.find import CardTrace, find_card
from stripread.card.patches import PatchSamples
from stripread.card.values import CardValues
from stripread.correction.fit import fix_colour
from stripread.correction.same_card import TYPICAL, card_misfit
from stripread.correction.verdicts import DYES_OFF, OTHER_CARD, doubts_of_fix
from stripread.errors import Refused
from tests.accuracy import buffers
from tests.scenes.measured import WORLDS, World
from tests.scenes.scene import random_scene
from tests.scenes.shelf import photo_bytes

# How far the card has faded and its paper yellowed, as of ``tests.scenes.ageing``; 1 is much.
FADED = {"a little": 0.2, "some": 0.45, "much": 1.0}


def seen(setup: int, n: int, tag: int, *, hard: bool = False, **fixed: Any) -> PatchSamples | None:
    """The card's patches on one photo; None where it was refused."""
    scene = random_scene(np.random.default_rng([setup, n, tag]), hard=hard, **fixed)
    trace = CardTrace()
    try:
        find_card(photo_bytes(scene), trace)
    except Refused:
        return None
    return trace.samples


@dataclass(frozen=True)
class Look:
    """What the reader finds of one photo's card and light. doubts: the codes of its reasons."""

    misfit: float
    dyes_off: float
    doubts: frozenset[str]


def look(samples: PatchSamples, card: CardValues) -> Look:
    """By the reader's own verdicts."""
    fix = fix_colour(samples, card)
    doubts = frozenset(reason.code for reason in doubts_of_fix(fix, samples, card))
    return Look(card_misfit(fix, samples, card), fix.dyes_off(samples.rgb, samples.centre_mm), doubts)


def run(setup: int, reads: int, world: World = "made-up") -> dict[str, list[Look]]:
    """Looks at one setup's photos, by what was photographed."""
    own: dict[str, Any] = {"printer_seed": setup, "sheet_seed": setup, "world": world}
    known = np.repeat(buffers("four"), 2)
    calibrated = [
        seen(setup, n, 77, ph=float(ph), lot_seed=setup, phone_seed=setup, **own) for n, ph in enumerate(known)
    ]
    card = estimate_card([s for s in calibrated if s is not None])
    few = max(1, reads // 4)
    photos = {
        "same card": [seen(setup, n, 99, lot_seed=setup, **own) for n in range(reads)],
        "same card, hard light": [seen(setup, n, 98, hard=True, **own) for n in range(few)],
        "next sheet of the printer": [
            seen(setup, n, 97, printer_seed=setup, sheet_seed=5000 + 10 * setup + n, world=world) for n in range(few)
        ],
        "another printer": [
            seen(setup, n, 96, printer_seed=20_000 + 100 * setup + n, sheet_seed=n, world=world) for n in range(few)
        ],
    }
    for name, age in FADED.items():
        photos[f"faded {name}"] = [seen(setup, n, 95, faded=age, yellowed=0.0, **own) for n in range(few)]
        photos[f"yellowed {name}"] = [seen(setup, n, 94, faded=0.0, yellowed=age, **own) for n in range(few)]
    return {what: [look(s, card) for s in some if s is not None] for what, some in photos.items()}


def main() -> None:
    ask = argparse.ArgumentParser(description=__doc__.split("\n")[0])
    ask.add_argument("--setups", type=int, default=10)
    ask.add_argument("--first", type=int, default=300)
    ask.add_argument("--reads", type=int, default=20)
    ask.add_argument("--world", choices=WORLDS, default="made-up", help="made-up, or a half of the measured world")
    ask.add_argument("--workers", type=int, default=os.cpu_count())
    given = ask.parse_args()
    found: dict[str, list[Look]] = {}
    setups = range(given.first, given.first + given.setups)
    with ProcessPoolExecutor(given.workers, get_context("spawn")) as pool:
        for part in pool.map(run, setups, [given.reads] * given.setups, [given.world] * given.setups):
            for what, looks in part.items():
                found.setdefault(what, []).extend(looks)
    print(
        f"misfit in units of {TYPICAL} deviations (another card above {OTHER_CARD}); dyes off in Delta E ({DYES_OFF})"
    )
    print(f"{'':28s} photos  misfit: median, 95 %, 99 %   dyes off: 95 %, most   other_card  poor_light")
    for what, looks in found.items():
        m = np.array([one.misfit for one in looks])
        off = np.array([one.dyes_off for one in looks])
        told = " ".join(f"{np.nanquantile(m, share):6.2f}" for share in (0.5, 0.95, 0.99))
        codes = [np.mean([code in one.doubts for one in looks]) for code in ("other_card", "poor_light")]
        print(
            f"{what:28s} {len(m):6d} {told}          {np.quantile(off, 0.95):6.2f} {off.max():6.2f}       "
            f"{codes[0]:6.1%} {codes[1]:6.1%}"
        )


if __name__ == "__main__":
    main()
