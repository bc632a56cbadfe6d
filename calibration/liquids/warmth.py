"""A temperature typed for a liquid that no liquid on a bench has, or not beside the others: asked about, never changed.

Most of these liquids move by 0.01 pH a degree or less, which no strip shows; so a wrong temperature is asked about
where it is typed, not looked for in colours.
"""

from __future__ import annotations

from statistics import median

from calibration.liquids.table import liquids
from stripread.words import _, say

ROOM_C = (10.0, 35.0)  # a bench and what has stood on it; from memory
APART_C = 6.0  # liquids that stand side by side differ by less; from memory
TELLS = 0.05  # pH: less than that the table's own widths and a strip's scatter hide


def warmth_question(temp_c: float) -> str:
    """What to ask about a temperature (°C) as it is typed; empty where a room may have it."""
    low, high = ROOM_C
    if low <= temp_c <= high:
        return ""
    celsius = (temp_c - 32.0) / 1.8
    if low <= celsius <= high:
        return _(
            "{temp:g} °C is no temperature of a room. {temp:g} °F would be {celsius:.0f} °C: type that "
            "if you meant it.",
            temp=temp_c,
            celsius=celsius,
        )
    return _(
        "{temp:g} °C is no temperature of a room. Was it typed wrongly? Put it right; else let the liquids stand until "
        "they are as warm as the room, and measure again.",
        temp=temp_c,
    )


def moved_by(key: str, temp_c: float, other_c: float) -> float:
    """By how many pH a liquid of the table differs between two temperatures; its table's ends hold beyond it."""
    rows = liquids()[key].rows
    ph = [liquids()[key].ph(min(max(t, rows[0][0]), rows[-1][0]))[0] for t in (temp_c, other_c)]
    return abs(ph[0] - ph[1])


def odd_warmth(photos: list[tuple[str, str, float | None]]) -> list[str]:
    """Questions about photos, each (file, liquid's key, °C or None), the first photo of each temperature named.

    Beside the others it is asked only where it matters: where the liquid's pH would be another by ``TELLS``.
    """
    plausible = [temp for _file, _key, temp in photos if temp is not None and not warmth_question(temp)]
    usual = median(plausible) if plausible else float("nan")
    out: dict[tuple[str, float], str] = {}
    for file, key, temp in photos:
        if temp is None or key not in liquids():
            continue
        question = warmth_question(temp)
        if question:
            out.setdefault(("", temp), f"{file}: {question}")
        elif abs(temp - usual) > APART_C and moved_by(key, temp, usual) >= TELLS:
            words = _(
                "{file}: {liquid} at {temp:g} °C, most others at {usual:g} °C. Is that so? Else take the photo out and "
                "send it again with the right temperature: its pH goes with it.",
                file=file,
                liquid=say(liquids()[key].name),
                temp=temp,
                usual=usual,
            )
            out.setdefault((key, temp), words)
    return list(out.values())
