"""Liquids of known pH: standard buffers against temperature, from a published table (``buffers.csv``, source in each
row), and what a user may name a liquid by.
"""

from __future__ import annotations

import csv
import math
import re
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

import numpy as np

from stripread.errors import CallError
from stripread.words import _

TABLE_SD = 0.01  # the table's own uncertainty where it states none


@cache
def _table() -> dict[str, list[tuple[float, float, float]]]:
    """Buffer -> rows of temperature, pH, sd, by rising temperature."""
    rows: dict[str, list[tuple[float, float, float]]] = {}
    with files("stripread.ph").joinpath("buffers.csv").open(encoding="utf-8") as file:
        for row in csv.DictReader(file):
            entry = (float(row["temp_c"]), float(row["ph"]), float(row["ph_sd"] or TABLE_SD))
            rows.setdefault(row["buffer"], []).append(entry)
    return {name: sorted(entries) for name, entries in rows.items()}


def buffer_names() -> tuple[str, ...]:
    """Names that ``buffer_ph`` knows."""
    return tuple(_table())


def buffer_ph(name: str, temp_c: float) -> tuple[float, float]:
    """The pH of a standard buffer at a temperature, and its standard deviation.

    Straight lines between the table's temperatures, which are 5 or 10 degrees apart: within 0.01 of the true curve.

    Raises
    ------
    ValueError
        If the buffer is unknown or the temperature lies outside its table.
    """
    key = name.strip().lower()
    if key not in _table():
        raise ValueError(
            _(
                "no buffer '{name}' in the table (known: {buffer_names})",
                name=name,
                buffer_names=", ".join(buffer_names()),
            )
        )
    temp, ph, sd = np.array(_table()[key]).T
    if not temp[0] <= temp_c <= temp[-1]:
        raise ValueError(
            _(
                "the table of {key} runs from {temp_0:g} to {last_temp:g} degrees, not to {temp_c:g}",
                key=key,
                temp_0=temp[0],
                last_temp=temp[-1],
                temp_c=temp_c,
            )
        )
    return float(np.interp(temp_c, temp, ph)), float(np.interp(temp_c, temp, sd))


def buffer_range(name: str) -> tuple[float, float, str]:
    """Lowest and highest temperature (°C) of a buffer's table, and the source of its rows.

    Raises
    ------
    KeyError
        If there is no such buffer.
    """
    temps = [row[0] for row in _table()[name]]
    with files("stripread.ph").joinpath("buffers.csv").open(encoding="utf-8") as file:
        source = next(row["source"] for row in csv.DictReader(file) if row["buffer"] == name)
    return temps[0], temps[-1], source


@dataclass(frozen=True)
class Liquid:
    """A liquid that a comparison strip was dipped in. ``ph`` is None for rinse water, whose pH nobody knows."""

    name: str
    ph: float | None
    sd: float


def liquid_of(text: str) -> Liquid:
    """The liquid that a user names: a pH (``7.0``), a buffer with its temperature (``phosphate 22 C``), or ``water``.

    A pH is as sure as its last digit, or as a tenth where it has none: it was rounded somewhere.

    Raises
    ------
    CallError
        If it is none of these.
    """
    words = " ".join(text.replace(",", " ").split()) if re.search(r"[A-Za-z]", text) else text.strip()
    if words.lower() in {"water", "rinse water"}:
        return Liquid("water", None, 0.0)
    plain = text.strip().removeprefix("pH").removeprefix("ph").strip().replace(",", ".")
    if re.fullmatch(r"\d{1,2}(\.\d{1,4})?", plain):
        ph = float(plain)
        if ph > 14.0:
            raise CallError(_("pH {ph:g} is not a pH that a strip reads: 0 to 14", ph=ph))
        digits = max(1, len(plain.partition(".")[2]))
        return Liquid(f"pH {plain}", ph, max(TABLE_SD, 0.5 * 10.0**-digits / math.sqrt(3.0)))
    found = re.fullmatch(r"([A-Za-z]+)(?: (\d{1,3}(?:\.\d+)?) ?(?:°|deg)? ?[Cc]?)?", words)
    known = ", ".join(buffer_names())
    if found is None or found[1].lower() not in _table():
        raise CallError(
            _(
                "'{text}' is no liquid of known pH: give a pH (7.0), a buffer and its temperature (phosphate "
                "22 C), or water; buffers: {known}",
                text=text,
                known=known,
            )
        )
    if found[2] is None:
        raise CallError(
            _("'{text}': at what temperature? Write for instance '{found_1} 22 C'", text=text, found_1=found[1])
        )
    try:
        ph, sd = buffer_ph(found[1], float(found[2]))
    except ValueError as problem:
        raise CallError(str(problem)) from None
    return Liquid(f"{found[1].lower()} {float(found[2]):g} °C", ph, sd)
