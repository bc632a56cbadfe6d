"""Liquids mixed up while calibrating: how often that is noticed, and how often right labels are blamed.

`python -m tests.mixed_up_study --setups 20`: calibrations sampled without pictures (``tests.tune.sampled``), each once
as it is, then with two liquids at least 1 pH apart exchanged, and with one photo said to be of another pH.
"""

from __future__ import annotations

import argparse
from collections import Counter
from dataclasses import replace

import numpy as np

from calibration.card_estimate import estimate_card
from calibration.known_pads import KnownPads
from calibration.strangers.mixed_up import mixed_up
from stripread.correction.fit import fix_colour
from stripread.strip.pads import pads_to_lab
from tests.tune.profiles import _photo

LIQUIDS = {
    "15 buffers": tuple(float(ph) for ph in range(15)),
    "8 liquids": (1.2, 2.4, 4.0, 6.9, 8.1, 9.2, 11.5, 12.6),
}
RANGE = (0.0, 14.0)


def sampled_calibration(setup: int, liquids: tuple[float, ...], kind: str = "four", per: int = 2) -> list[KnownPads]:
    """Known pads of a setup (card, bottle, phone), ``per`` photos a liquid."""
    known = [ph for ph in liquids for _ in range(per)]
    photos = [_photo(setup, n, 51, kind=kind, ph=ph, phone_seed=setup) for n, ph in enumerate(known)]
    card = estimate_card([photo.samples for photo in photos])
    pads = [pads_to_lab(photo.pads, fix_colour(photo.samples, card)) for photo in photos]
    return [
        KnownPads(p.lab, p.cov, ph, 0.02, f"{n:064x}", f"{n}.jpg")
        for n, (p, ph) in enumerate(zip(pads, known, strict=True))
    ]


def exchanged(known: list[KnownPads], one: float, other: float) -> list[KnownPads]:
    """The same photos with the labels of two liquids exchanged."""
    to = {one: other, other: one}
    return [replace(k, ph=to.get(k.ph, k.ph)) for k in known]


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--setups", type=int, default=20)
    parser.add_argument("--first", type=int, default=900)
    parser.add_argument("--each", type=int, default=2, help="exchanges a setup")
    said = parser.parse_args()
    for name, liquids in LIQUIDS.items():
        counted: Counter[str] = Counter()
        rng = np.random.default_rng(1)
        for setup in range(said.first, said.first + said.setups):
            known = sampled_calibration(setup, liquids)
            counted["clean"] += 1
            counted["blamed"] += bool(mixed_up(known, RANGE))
            for _ in range(said.each):
                one, other = rng.choice(liquids, 2, replace=False)
                if abs(one - other) < 1.0:
                    continue
                found = mixed_up(exchanged(known, one, other), RANGE)
                counted["exchanged"] += 1
                counted["noticed"] += bool(found)
                counted["named"] += bool(found) and found[0].way == "exchanged" and set(found[0].said) == {one, other}
            other_ph = float(rng.choice(liquids[1:-1]))
            said_ph = float(rng.choice([ph for ph in liquids if abs(ph - other_ph) >= 2.0]))
            wrong = [replace(k, ph=said_ph) if k.ph == other_ph and i % 2 else k for i, k in enumerate(known)]
            found = mixed_up(wrong, RANGE)
            counted["photo mislabelled"] += 1
            counted["photo noticed"] += bool(found)
        print(f"{name}: {dict(counted)}")


if __name__ == "__main__":
    main()
