"""Speed and memory of a whole reading beside a full-size decode of the same bytes: `python -m tests.bench`.

The yardstick is ``cv2.imdecode`` at full size, in the same run, turn by turn; medians of the pairs' ratios are printed.
Peak memory is that of a fresh process that reads one photo, with everything imported. Of a calibration
the processor time is taken: the demo's 30 photos, beside decoding them.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import time
from pathlib import Path
from tempfile import TemporaryDirectory

import cv2
import numpy as np

from stripread.ph.profile import load_profile

ROOT = Path(__file__).resolve().parents[1]
PROFILE = ROOT / "service" / "demo" / "profile.toml"
SIZES = {"12 MP": (4032, 3024), "48 MP": (8064, 6048)}
TURNS = 9


def photo(size: tuple[int, int]) -> bytes:
    """One good photo of the demo's card and strips at this size."""
    # Imported here: the process whose memory is measured must not carry the renderer.
    from tests.scenes.photo import render
    from tests.scenes.scene import random_scene

    rng = np.random.default_rng(12)
    fixed = {"printer_seed": 4, "sheet_seed": 40, "lot_seed": 2026}
    return render(random_scene(rng, "four", 5.0, size=size, roll_deg=4.0, tilt_deg=8.0, **fixed)).data


def stages(data: bytes) -> dict[str, float]:
    """Seconds of each stage, once."""
    from stripread.card.layout import layout
    from stripread.card.markers import find_markers
    from stripread.card.patches import sample_patches
    from stripread.card.pose import solve_pose
    from stripread.card.view import card_view
    from stripread.correction.fit import fix_colour
    from stripread.ph.posterior import infer_ph
    from stripread.photo import open_photo
    from stripread.strip.find import find_strips
    from stripread.strip.pads import pads_to_lab, sample_pads

    profile, took = load_profile(PROFILE), {}

    def timed(name, call):
        start = time.perf_counter()
        value = call()
        took[name] = time.perf_counter() - start
        return value

    opened = timed("open", lambda: open_photo(data))
    marks = timed("marks", lambda: find_markers(opened))
    pose = timed("pose", lambda: solve_pose(marks, layout(), opened))
    view = timed("view", lambda: card_view(opened, pose))
    samples = timed("patches", lambda: sample_patches(view, layout()))
    strip = timed("strip", lambda: find_strips(view, profile.kind)[0])
    pads = timed("pads", lambda: sample_pads(view, strip))
    fix = timed("colour", lambda: fix_colour(samples, profile.card_values))
    lab = timed("to CIELAB", lambda: pads_to_lab(pads, fix))
    timed("posterior", lambda: infer_ph(lab, profile))
    return took


def main() -> None:
    from stripread.ph.read import read_ph

    profile = load_profile(PROFILE)
    for name, size in SIZES.items():
        data = photo(size)
        array = np.frombuffer(data, np.uint8)
        ratios, reads, decodes = [], [], []
        for turn in range(TURNS + 1):
            start = time.perf_counter()
            cv2.imdecode(array, cv2.IMREAD_COLOR)
            middle = time.perf_counter()
            reading = read_ph(data, profile)
            end = time.perf_counter()
            if turn:  # the first warms up
                decodes.append(middle - start)
                reads.append(end - middle)
                ratios.append((end - middle) / (middle - start))
        split = [stages(data) for _ in range(5)]
        print(
            f"{name} ({len(data) / 1e6:.1f} MB, {reading.status}): reading {np.median(reads):.3f} s, "
            f"full-size decode {np.median(decodes):.3f} s, ratio {np.median(ratios):.2f} "
            f"({min(ratios):.2f} to {max(ratios):.2f})"
        )
        print("   ms: " + ", ".join(f"{k} {1e3 * np.median([s[k] for s in split]):.1f}" for k in split[0]))
        with TemporaryDirectory() as folder:
            path = Path(folder) / "photo.jpg"
            path.write_bytes(data)
            code = f"import tests.bench; tests.bench.alone({str(path)!r})"
            call = [sys.executable, "-c", code]
            print("   " + subprocess.run(call, cwd=ROOT, check=True, capture_output=True, text=True).stdout.strip())
    calibration()
    start = time.perf_counter()
    subprocess.run([sys.executable, "-m", "service.cli", "--help"], cwd=ROOT, check=True, capture_output=True)
    print(f"starting the command: {time.perf_counter() - start:.2f} s")


def calibration() -> None:
    """Print the processor time of the demo's calibration, its workers' included, beside decoding the same photos."""
    from calibration.gather import Job, measure_all
    from calibration.learn import learn
    from calibration.tables import read_buffers
    from stripread.kind import load_kind

    buffers, kind = PROFILE.parent / "buffers" / "buffers.csv", load_kind(PROFILE.parent / "strip.toml")
    rows = read_buffers(buffers)
    arrays = [np.frombuffer(row.path.read_bytes(), np.uint8) for row in rows]
    took = {}
    for name, call in (
        ("decoding", lambda: [cv2.imdecode(array, cv2.IMREAD_COLOR) for array in arrays]),
        ("measuring", lambda: measure_all([Job(row.path) for row in rows], kind)),
        ("calibrating", lambda: learn(kind, buffers=buffers)),
    ):
        start = processor_seconds()
        call()
        took[name] = processor_seconds() - start
    print(
        f"calibration of {len(rows)} photos: {took['calibrating']:.2f} s of processor time, measuring them "
        f"{took['measuring']:.2f} s of it, decoding them {took['decoding']:.2f} s, "
        f"ratio {took['calibrating'] / took['decoding']:.1f}"
    )


def processor_seconds() -> float:
    """Processor time so far of this process and of its children that have ended."""
    return sum(
        u.ru_utime + u.ru_stime for u in map(resource.getrusage, (resource.RUSAGE_SELF, resource.RUSAGE_CHILDREN))
    )


def alone(path: str) -> None:
    """Read one photo in this process and print its peak memory."""
    from stripread.ph.read import read_ph

    reading = read_ph(Path(path).read_bytes(), load_profile(PROFILE))
    # VmHWM and not ru_maxrss: the latter starts at the parent's size on Linux.
    status = Path("/proc/self/status").read_text(encoding="ascii")
    peak = int(status.split("VmHWM:")[1].split()[0]) / 1024
    print(f"peak memory of a process that reads it: {peak:.0f} MB ({reading.status})")


if __name__ == "__main__":
    main()
