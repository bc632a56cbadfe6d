"""Card and chosen numbers of the capture assistant as a script, ``/live_numbers.js``: the page has no second copy."""

from __future__ import annotations

import json
from typing import Any

from stripread.card.layout import DICTIONARY, GREYS, LANE_MM, SIZE_MM, layout
from stripread.tuned import tuned

ADDRESS = "/live_numbers.js"
_LIGHT_GREYS = GREYS[-3:-1]  # the last one is hardly darker than the paper
_BITS = 4  # a side of a mark, within its black border
_TUNED = tuned("service.web.assistant")
# By the names that the page's scripts use; what each is stands beside it in tuned.toml.
NUMBERS: dict[str, float] = {
    "window": _TUNED.number("live_window"),
    "dark": _TUNED.number("live_dark_share"),
    "contrast": _TUNED.number("live_contrast"),
    "black": _TUNED.number("live_black_picture"),
    "marks": _TUNED.count("live_marks"),
    "share": _TUNED.number("live_share"),
    "near": _TUNED.number("live_near"),
    "margin": _TUNED.number("live_margin"),
    "tilt": _TUNED.number("live_tilt"),
    "white": _TUNED.number("live_white"),
    "burnt": _TUNED.number("live_burnt"),
    "resolution": _TUNED.number("live_resolution"),
    "coloured": _TUNED.number("live_coloured"),
    "strip": _TUNED.number("live_strip"),
    "brighter": _TUNED.number("live_brighter"),
    "shine": _TUNED.number("live_shine"),
    "shadow": _TUNED.number("live_shadow"),
    "speed": _TUNED.number("live_speed"),
    "edge": _TUNED.number("live_edge"),
    "hold_ms": _TUNED.number("live_hold"),
    "hold_frames": _TUNED.count("live_hold_frames"),
    "shown_ms": _TUNED.number("live_shown"),
    "spoken_ms": _TUNED.number("live_spoken"),
}


def script() -> str:
    """The module: ``CARD`` with lengths in mm and marks' bits row by row ("1" is white), and ``NUMBERS``."""
    return (
        "// Made from the card's layout and from the chosen numbers.\n"
        f"export const CARD = {json.dumps(_card())};\n"
        f"export const NUMBERS = {json.dumps(NUMBERS)};\n"
    )


def _card() -> dict[str, Any]:
    import cv2  # noqa: PLC0415 - once, at the service's start

    card = layout()
    dictionary = cv2.aruco.getPredefinedDictionary(getattr(cv2.aruco, DICTIONARY))
    marks = []
    for mark in card.markers:
        cells = cv2.aruco.generateImageMarker(dictionary, mark.id, _BITS + 2)[1:-1, 1:-1]
        bits = "".join("1" if cell > 127 else "0" for cell in cells.ravel().tolist())
        marks.append({"id": mark.id, "corners": mark.corners_mm, "bits": bits})
    middles = [(p, (p.rect_mm[0] + p.rect_mm[2] / 2, p.rect_mm[1] + p.rect_mm[3] / 2)) for p in card.patches]
    whites = [at for patch, at in middles if patch.role == "white"]
    greys = [at for patch, at in middles if patch.role == "grey" and patch.srgb[0] in _LIGHT_GREYS]
    return {"size": SIZE_MM, "lane": LANE_MM, "whites": whites, "greys": greys, "marks": marks}
