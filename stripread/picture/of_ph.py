"""The picture of a pH reading, from what the pipeline's stages came to."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import SIZE_MM
from stripread.ph.profile import Profile
from stripread.ph.read import PhTrace
from stripread.picture import frame
from stripread.picture.ph_panels import OverlayInput, draw_overlay

Array = NDArray[np.float64]


def picture_of(trace: PhTrace, profile: Profile) -> bytes:
    """PNG file of the reading; whatever the reading did not come to is left out."""
    assert trace.reading is not None
    reading, first, taken = trace.reading, trace.first, trace.card.photo
    estimate = None if first is None else first.estimate
    photo = np.zeros((300, 400, 3), dtype=np.uint8) if taken is None else taken.to_srgb(taken.pixels)
    width, height = SIZE_MM
    edge = np.array([[0.0, 0.0], [width, 0.0], [width, height], [0.0, height]])
    pads = None if first is None or first.samples is None else first.samples.corners_mm
    grid = None if estimate is None else np.arange(profile.kind.range[0], profile.kind.range[1] + 0.01, 0.02)
    given = OverlayInput(
        photo=photo,
        status=reading.status,
        title=Path(reading.stamp.photo).name,
        caption=f"{profile.name} · {reading.stamp.software} · photo {reading.stamp.sha256[:12]}",
        card_px=_to_px(trace, edge),
        strip_px=None if first is None else _to_px(trace, first.strip.outline_mm),
        pads_px=None if pads is None else np.array([_to_px(trace, quad) for quad in pads]),
        pad_labs=None if first is None or first.pads is None else first.pads.lab,
        grid_ph=grid,
        density=None if estimate is None or grid is None else np.interp(grid, estimate.grid, estimate.density),
        curve_labs=None if grid is None else profile.curve(grid),
        ph=reading.ph,
        interval=reading.interval,
        alternatives=reading.alternatives,
        reasons=reading.reasons,
        budget=reading.budget,
    )
    return frame.png(draw_overlay(given))


def _to_px(trace: PhTrace, points_mm: Array) -> Array | None:
    return None if trace.card.pose is None else np.asarray(trace.card.pose.to_px(points_mm))
