"""The user's own measurements of the printed card: spectra, or CIELAB under any illuminant, to the card's values.

They are single colours, a few dozen once a calibration: colormath converts them, with its tables of illuminants and
observers. Only a calibration reads them, so that no reading of a photo loads colormath.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from colormath.color_conversions import convert_color
from colormath.color_objects import LabColor, SpectralColor, XYZColor
from numpy.typing import NDArray

from stripread.card.layout import layout
from stripread.card.values import CardValues, nominal_values
from stripread.colour import WHITE_D50, XYZ_TO_RGB
from stripread.errors import CallError
from stripread.tuned import tuned
from stripread.user_file import csv_table
from stripread.words import _

Array = NDArray[np.float64]

_TUNED = tuned("stripread.card")
MEASURED_SD = _TUNED.number("measured_sd")


def measured_values(path: Path) -> CardValues:
    """Read the user's own measurements of the printed card.

    A CSV file with a column ``patch`` (the layout's ids) and either ``L,a,b`` (optional columns ``illuminant``, default
    d50, and ``observer``, default 2) or one column a wavelength in nm (``380`` … ``730``, steps of 10, reflectance 0 to
    1). Patches not named keep their nominal value.

    Raises
    ------
    CallError
        Naming the line and column at fault.
    """
    start = nominal_values()
    rgb, sd = start.rgb.copy(), start.sd.copy()
    rows = {p.id: n for n, p in enumerate(layout().patches)}
    columns, table = csv_table(path)
    wavelengths = any(column.isdecimal() for column in columns)
    missing = [c for c in ("patch", *(() if wavelengths else ("L", "a", "b"))) if c not in columns]
    if missing:
        wanted = _("patch,L,a,b or patch and one column a wavelength")
        raise CallError(
            _(
                "{path}, line 1: no column {missing}; wanted {wanted}",
                path=path,
                missing=", ".join(missing),
                wanted=wanted,
            )
        )
    if not table:
        raise CallError(_("{path} has a head but no lines", path=path))
    for line, row in table:
        name = row["patch"].strip()
        if name not in rows:
            known = ", ".join(list(rows)[:3])
            raise CallError(
                _(
                    "{path}, line {line}, column patch: no patch '{name}' on the card; they are {known} …",
                    path=path,
                    line=line,
                    name=name,
                    known=known,
                )
            )
        try:
            rgb[rows[name]] = XYZ_TO_RGB @ _xyz(row)
        except _WrongCell as wrong:
            raise CallError(_("{path}, line {line}, column {wrong}", path=path, line=line, wrong=wrong)) from None
        except (KeyError, TypeError, ValueError) as problem:
            raise CallError(_("{path}, line {line}: {problem}", path=path, line=line, problem=problem)) from None
        sd[rows[name]] = MEASURED_SD
    return CardValues(rgb, sd, "measured")


class _WrongCell(ValueError):  # noqa: N818 - what it is, in the house's words
    """Column and what is wrong in it."""


def _xyz(row: dict[str, str]) -> Array:
    """XYZ D50 of one row of measurements."""
    bands = {int(k): _bounded(row, k, -0.01, 2.0) for k, v in row.items() if k.isdecimal() and v.strip()}
    if bands:
        nm = np.arange(340, 831, 10)
        values = np.interp(nm, sorted(bands), [bands[k] for k in sorted(bands)])  # held constant beyond both ends
        names = {f"spec_{w}nm": float(v) for w, v in zip(nm, values, strict=True)}
        xyz = convert_color(SpectralColor(**names, illuminant="d50", observer="2"), XYZColor)
        white = convert_color(SpectralColor(**dict.fromkeys(names, 1.0), illuminant="d50", observer="2"), XYZColor)
        # Its table sums to a slightly different D50 (0.96397, 1, 0.82404): tie the white to ours.
        return np.asarray(np.array(xyz.get_value_tuple()) / np.array(white.get_value_tuple()) * WHITE_D50)
    illuminant = (row.get("illuminant") or "d50").strip().lower()
    lightness, a, b = (
        _bounded(row, c, low, high) for c, low, high in (("L", 0.0, 110.0), ("a", -200, 200), ("b", -200, 200))
    )
    lab = LabColor(lightness, a, b, observer=(row.get("observer") or "2").strip(), illuminant=illuminant)
    xyz = convert_color(lab, XYZColor)
    if illuminant != "d50":
        xyz.apply_adaptation("d50", adaptation="bradford")
    return np.array(xyz.get_value_tuple())


def _bounded(row: dict[str, str], column: str, low: float, high: float) -> float:
    text = row.get(column, "").strip()
    try:
        value = float(text)
    except ValueError:
        raise _WrongCell(
            _(
                "{column}: {word}",
                column=column,
                word=_("{text!r} is not a number", text=text) if text else _("is empty"),
            )
        ) from None
    if not low <= value <= high:  # NaN is in no bounds
        share = _(" (a reflectance is a share, 0 to 1)") if column.isdecimal() else ""
        raise _WrongCell(
            _(
                "{column}: {text} is not between {low:g} and {high:g}{share}",
                column=column,
                text=text,
                low=low,
                high=high,
                share=share,
            )
        )
    return value
