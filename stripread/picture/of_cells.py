"""Picture of a photo that measures a pair of vials: where both were read, and what one lets through over the other."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from stripread.picture.frame import Headline, Panel, compose, photo_of
from stripread.picture.of_windows import card_outline, ratios, vial_outlines
from stripread.picture.parts import png

if TYPE_CHECKING:
    from stripread.tint.cells_reading import CellsReading
    from stripread.tint.read import TintTrace

_SHOWN = {"blank": "cell blank", "swapped": "swapped vials"}


def cells_picture(reading: CellsReading, trace: TintTrace) -> bytes:
    """PNG file of the photo; whatever it did not come to is left out."""
    outlines = card_outline(trace.card)
    if trace.vials is not None:
        for name, vial in (("sample", trace.vials.sample), ("blank", trace.vials.blank)):
            outlines += vial_outlines(trace.card, name, vial)
    panels = []
    if trace.sample is not None:
        panels.append(Panel("Light left in each channel, left vial over right", 110, lambda axes: ratios(axes, trace)))
    big = "no reading" if reading.ratio is None else _SHOWN[reading.matching]
    image = compose(
        photo_of(trace.card),
        outlines,
        Headline(reading.status, big, "", ("Measures the pair of vials; says nothing of copper.",)),
        reading.reasons,
        panels,
        title=Path(reading.stamp.photo).name,
        caption=f"cells · {reading.stamp.software} · photo {reading.stamp.sha256[:12]}",
    )
    return png(image)
