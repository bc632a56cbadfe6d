"""Frames a second of the capture assistant in a slowed browser: `python -m tests.live.speed --slower 6`.

Chromium plays a rendered stream as its camera. It is printed how long the page's thread works on a frame, by its own
clock, which other programs on this computer hardly stretch, and how many frames a second that leaves, the page's rest
between frames included. Nothing is tested by it.
"""

from __future__ import annotations

import tempfile
import time
from pathlib import Path

import click

from tests.live.streams import Shown
from tests.live.video import camera_arguments, demo_stream, write_video
from tests.page.browsing import a_browser
from tests.page.phone import Phone
from tests.server.calls import HTTP
from tests.server.running import Running

REST = 1.2  # a frame's work and the rest after it, as live.js has it


@click.command()
@click.option("--slower", default=6.0, show_default=True, help="How many times slower the browser is made.")
@click.option("--seconds", default=10.0, show_default=True)
def main(slower: float, seconds: float) -> None:
    """Print the thread's time for a frame and frames a second."""
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        video = folder / "stream.mjpeg"
        write_video(Shown(demo_stream(3.0)), video, 1.0, 1.0)
        profile = Path(__file__).resolve().parents[2] / "service" / "demo" / "profile.toml"
        with Running(folder, profile=profile) as server, a_browser(None, *camera_arguments(video)) as browser:
            HTTP.post(f"{server.url}/api/batches", json={"name": "speed"}).raise_for_status()
            phone = Phone(browser, server.url, folder).open()
            phone.until(lambda: phone.by_id("guided").is_displayed())
            browser.execute_cdp_cmd("Performance.enable", {"timeDomain": "threadTicks"})
            browser.execute_script("localStorage.setItem('dipped', Date.now())")
            keep = "setInterval(() => localStorage.setItem('dipped', Date.now()), 500)"  # never ripe: nothing is taken
            browser.execute_script(keep)
            browser.execute_cdp_cmd("Emulation.setCPUThrottlingRate", {"rate": slower})
            phone.by_id("guided").click()
            frames = lambda: int(browser.execute_script("return document.body.dataset.liveFrames || 0"))  # noqa: E731
            phone.until(lambda: frames() > 5, 60)  # the first ones are compiled
            before, first, began = _worked(browser), frames(), time.monotonic()
            time.sleep(seconds)
            worked, count, wall = _worked(browser) - before, frames() - first, time.monotonic() - began
            each = worked / max(count, 1)
            click.echo(f"slowed {slower:g} times: {count} frames in {wall:.1f} s on this computer as busy as it is")
            click.echo(f"the page's thread works {1000 * each:.1f} ms a frame: {1 / (each * REST):.1f} frames a second")


def _worked(browser: object) -> float:
    """Seconds that the page's thread has worked."""
    metrics = browser.execute_cdp_cmd("Performance.getMetrics", {})["metrics"]  # type: ignore[attr-defined]
    return float(next(m["value"] for m in metrics if m["name"] == "TaskDuration"))


if __name__ == "__main__":
    main()
