"""By what the capture assistant stops a frame: the limits that part photos which read well from those which do not.

Stills of a card with a strip are rendered well and with one fault each, from hardly to much, judged by the page's own
modules at a video's size, and read at full size. A limit is to stop what the reader refuses, or doubts for that very
cause, and little else.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from service.web.assistant.numbers import NUMBERS
from stripread.ph.profile import load_profile
from stripread.ph.read import read_ph
from stripread.tuned import Value, tuned
from tests.capture_study import ROOT
from tests.live.node import Assistant
from tests.live.streams import PHOTO, STREAM, faulty, of_setup, sized
from tests.scenes.develop import develop, encode
from tests.scenes.expose import expose
from tests.scenes.photo import camera_of
from tests.scenes.scene import Scene, random_scene
from tests.tune.engine import Tuning

PACKAGE = "service.web.assistant"
STEPS = (0.4, 0.55, 0.7, 0.8, 0.9, 1.0, 1.15, 1.3, 1.6, 2.0, 2.8)  # of the stored value
NEEDLESS = 0.5  # cost of stopping a photo that reads well, by that of taking one that does not: it can be taken by hand


@dataclass(frozen=True)
class Limit:
    """measure: of a frame. over: whether more is worse. fault: that shows it. codes: the reader's, of this cause."""

    key: str
    measure: str
    over: bool
    fault: str
    codes: frozenset[str]


LIMITS = {
    "live_tilt": Limit("tilt", "tilt", True, "tilted", frozenset({"oblique", "glare_on_pads"})),
    "live_white": Limit("white", "white", False, "dark", frozenset({"too_dark", "wide_interval"})),
    "live_burnt": Limit("burnt", "burnt", True, "bright", frozenset({"blown_out", "patches_unusable"})),
    "live_strip": Limit("strip", "strip", False, "no_strip", frozenset({"no_strip"})),
    "live_shine": Limit("shine", "shine", True, "shine", frozenset({"glare_on_pads", "some_glare"})),
    "live_shadow": Limit("shadow", "shadow", True, "shadow", frozenset({"shadow_on_pads", "uneven_light"})),
    "live_edge": Limit("edge", "edge", True, "blurred", frozenset({"blurred", "uneven_pad"})),
}
STILLS = 3  # of each fault in a setup, and as many without


@dataclass(frozen=True)
class Still:
    """What the assistant saw, which fault was made, and what the reader said."""

    seen: dict[str, float]
    fault: str | None
    refused: bool
    codes: frozenset[str]


def draw(setup: int) -> tuple[Still, ...]:
    """Stills of one card and bottle, every other one with the measured world's choosing half."""
    cv2.setNumThreads(1)
    profile = load_profile(ROOT / "service" / "demo" / "profile.toml")
    out = []
    with Assistant() as assistant:
        for n in range(STILLS):
            for fault in (None, *(limit.fault for limit in LIMITS.values())):
                rng = np.random.default_rng([setup, n, 1813])
                world = "choosing" if n % 2 else "made-up"
                scene = random_scene(rng, "four", world=world, orientation=1, icc="none", **of_setup(setup))
                if fault == "blurred":
                    scene = replace(scene, defocus_px=float(rng.uniform(0.2, 3.0)) * PHOTO * scene.fill / 148.0)
                elif fault:
                    scene = faulty(scene, fault, rng)
                reading = read_ph(encode(_codes(sized(scene, PHOTO)), scene), profile)
                small = replace(sized(scene, STREAM), defocus_px=scene.defocus_px * STREAM / PHOTO)
                seen = assistant.look(_codes(small))["seen"]
                codes = frozenset(reason.code for reason in reading.reasons)
                out.append(Still(seen, fault, reading.status == "refused", codes))
    return tuple(out)


def _codes(scene: Scene) -> np.ndarray:
    return np.asarray(develop(expose(scene, camera_of(scene)), scene))


def stopped(limit: Limit, still: Still, value: float) -> bool:
    """Whether the limit stops the frame; without a card others do, which is not counted for it."""
    found = still.seen.get(limit.measure)
    if found is None:  # JSON has no infinity: an edge that can't be seen
        return limit.measure == "edge" and bool(still.seen["ids"])
    return found > value if limit.over else found < value


def shares(limit: Limit, setup: Sequence[Still], value: float) -> dict[str, float]:
    """Shares of photos that ought to be stopped and are not, and of good ones that are."""
    mine = [s for s in setup if s.fault in (None, limit.fault) and s.seen["ids"]]
    bad = [s for s in mine if s.fault and (s.codes & limit.codes or (s.refused and "no_card" not in s.codes))]
    well = [s for s in mine if s not in bad]
    let = sum(not stopped(limit, s, value) for s in bad)
    needless = sum(stopped(limit, s, value) for s in well)
    count = max(len(mine), 1)
    return {
        "bad photos let through": let / count,
        "good ones stopped": needless / count,
        "cost": (let + NEEDLESS * needless) / count,
    }


def _tuning(name: str) -> Tuning[tuple[Still, ...]]:
    limit = LIMITS[name]
    assert limit.key in NUMBERS

    def judge(setup: tuple[Still, ...], value: Value) -> dict[str, float]:
        assert not isinstance(value, tuple)
        return shares(limit, setup, value)

    def fit(setups: Sequence[tuple[Still, ...]]) -> Value:
        stored = tuned(PACKAGE).number(name)
        values = [float(f"{step * stored:.3g}") for step in STEPS]
        costs = [np.mean([judge(s, value)["cost"] for s in setups]) for value in values]
        least = [v for v, cost in zip(values, costs, strict=True) if cost <= min(costs) + 1e-9]
        return least[len(least) // 2]

    return Tuning(PACKAGE, draw, fit, judge)


TUNINGS = {name: _tuning(name) for name in LIMITS}
