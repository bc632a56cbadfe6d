"""The table of liquids at hand: pH and its standard deviation against temperature, how each is made, and its caution.

Standard buffers stand in ``stripread/ph/buffers.csv``; household liquids in ``household.toml`` beside this file, every
one with its source, or with "from memory". Their standard deviation covers how people measure them out.
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Literal

import numpy as np

from stripread.ph.buffers import buffer_names, buffer_ph, buffer_range
from stripread.words import N_, _

Sort = Literal["standard", "household"]


@dataclass(frozen=True)
class AtHand:
    """One liquid. ``rows``: temperature (°C), pH and its sd, by rising temperature. Words are in English, to be said.

    need: what people must own for it, the same word in all liquids that are made of it.
    """

    key: str
    sort: Sort
    name: str
    made: str
    need: str
    rows: tuple[tuple[float, float, float], ...]
    source: str
    caution: str = ""

    def ph(self, temp_c: float) -> tuple[float, float]:
        """pH and its standard deviation at a temperature, by straight lines between the rows.

        Raises
        ------
        ValueError
            Outside the rows' temperatures.
        """
        temp, ph, sd = np.array(self.rows).T
        if not temp[0] <= temp_c <= temp[-1]:
            raise ValueError(
                _(
                    "the table of {key} runs from {temp_0:g} to {last_temp:g} degrees, not to {temp_c:g}",
                    key=self.key,
                    temp_0=temp[0],
                    last_temp=temp[-1],
                    temp_c=temp_c,
                )
            )
        return float(np.interp(temp_c, temp, ph)), float(np.interp(temp_c, temp, sd))


_BUFFERS = {
    "phthalate": (N_("phthalate buffer (pH 4)"), N_("From its sachet: one in as much distilled water as it says.")),
    "phosphate": (N_("phosphate buffer (pH 6.9)"), N_("From its sachet: one in as much distilled water as it says.")),
    "borax": (
        N_("borax, 3.8 g in a litre of distilled water (pH 9.2)"),
        N_("Weigh crystals that were kept closed; use it within a day, or keep it closed: air makes it less alkaline."),
    ),
    "carbonate": (N_("carbonate buffer (pH 10)"), N_("From its sachet: one in as much distilled water as it says.")),
}


@cache
def liquids() -> dict[str, AtHand]:
    """All liquids by key: standard buffers first, then household ones by rising pH."""
    found = {}
    for key in buffer_names():
        low, high, source = buffer_range(key)
        temps = sorted({low, high, *(t for t in (5.0, 10.0, 15.0, 20.0, 25.0, 30.0, 35.0, 40.0) if low < t < high)})
        name, made = _BUFFERS[key]
        found[key] = AtHand(key, "standard", name, made, key, tuple((t, *buffer_ph(key, t)) for t in temps), source)
    text = files("calibration.liquids").joinpath("household.toml").read_text(encoding="utf-8")
    for key, row in tomllib.loads(text).items():
        rows = tuple((float(t), float(ph), float(sd)) for t, ph, sd in row.pop("rows"))
        found[key] = AtHand(key, "household", rows=rows, **row)
    return found


def liquid_ph(key: str, temp_c: float) -> tuple[float, float]:
    """pH of a liquid of the table at a temperature, and its standard deviation.

    Raises
    ------
    ValueError
        If there is no such liquid, or its table does not reach to that temperature.
    """
    name = key.strip().lower()
    if name in buffer_names():
        return buffer_ph(name, temp_c)
    if name not in liquids():
        known = ", ".join(liquids())
        raise ValueError(_("no buffer '{name}' in the table (known: {buffer_names})", name=key, buffer_names=known))
    return liquids()[name].ph(temp_c)
