"""A stream as a file that a browser's made-up camera plays: JPEG after JPEG, over and over."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np

from tests.live.streams import Shown, Stream, stream
from tests.scenes.demo import CARD, LOT
from tests.scenes.scene import Scene, random_scene

FRAMES_A_SECOND = 30  # at which the browser plays such a file


def write_video(shown: Shown, path: Path, seconds: float, first_s: float = 0.0) -> None:
    """Write the stream's frames."""
    from tests.capture_study import as_jpeg

    times = first_s + np.arange(round(seconds * FRAMES_A_SECOND)) / FRAMES_A_SECOND
    path.write_bytes(b"".join(as_jpeg(shown.frame(float(at))) for at in times))


def demo_scene(ph: float, seed: int = 5) -> Scene:
    """The demo's card with a strip of its lot, as somebody careful photographs it."""
    rng = np.random.default_rng([2026, seed])
    scene = random_scene(rng, "four", ph, lot_seed=LOT, **CARD, phone_seed=3, orientation=1, icc="none")
    return replace(scene, size=(1280, 960), roll_deg=2.0, fill=0.8, tilt_deg=5.0, aim=(0.0, 0.0))


def demo_stream(ph: float) -> Stream:
    """A good stream over that card, from a hand so calm that nothing jumps where the file begins anew."""
    drawn = stream(4, "good", 0, "made-up")
    calm = drawn.tremor * [1.0, 1.0, 0.1, 0.1]
    return replace(drawn, scene=demo_scene(ph), shutter_s=1 / 60, approach_s=0.1, focus_s=0.1, tremor=calm)


def camera_arguments(path: Path) -> tuple[str, ...]:
    """Arguments by which chromium takes the file for its camera, and lets every page see it."""
    return (
        "--use-fake-device-for-media-stream",
        "--use-fake-ui-for-media-stream",
        f"--use-file-for-fake-video-capture={path}",
    )
