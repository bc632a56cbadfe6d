"""Picture of a photo that measures a pair of vials: where both were read, and what one lets through over the other."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from stripread.picture.frame import Headline, Panel, compose, photo_of
from stripread.picture.of_windows import card_outline, ratios, vial_outlines
from stripread.picture.parts import png
from stripread.words import N_, _, say

if TYPE_CHECKING:
    from stripread.tint.cells_reading import CellsReading
    from stripread.tint.read import TintTrace

_SHOWN = {"blank": N_("cell blank"), "swapped": N_("swapped vials")}


def cells_picture(reading: CellsReading, trace: TintTrace) -> bytes:
    """PNG file of the photo; whatever it did not come to is left out."""
    outlines = card_outline(trace.card)
    if trace.vials is not None:
        for name, vial in ((_("sample"), trace.vials.sample), (_("blank"), trace.vials.blank)):
            outlines += vial_outlines(trace.card, name, vial)
    panels = []
    if trace.sample is not None:
        panels.append(
            Panel(_("Light left in each channel, left vial over right"), 110, lambda axes: ratios(axes, trace))
        )
    big = _("no reading") if reading.ratio is None else say(_SHOWN[reading.matching])
    image = compose(
        photo_of(trace.card),
        outlines,
        Headline(reading.status, big, "", (_("Measures the pair of vials; says nothing of copper."),)),
        reading.reasons,
        panels,
        title=Path(reading.stamp.photo).name,
        caption=_(
            "cells · {software} · photo {sha256}", software=reading.stamp.software, sha256=reading.stamp.sha256[:12]
        ),
    )
    return png(image)
