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
    _, table = csv_table(path)
    if not table:
        raise CallError(f"{path}: no rows; wanted columns patch,L,a,b or patch and one column a wavelength")
    for line, row in table:
        name = (row.get("patch") or "").strip()
        if name not in rows:
            raise CallError(f"{path}, line {line}: no patch '{name}' on the card")
        try:
            rgb[rows[name]] = XYZ_TO_RGB @ _xyz(row)
        except (KeyError, TypeError, ValueError) as problem:
            raise CallError(f"{path}, line {line}: {problem}") from None
        sd[rows[name]] = MEASURED_SD
    return CardValues(rgb, sd, "measured")


def _xyz(row: dict[str, str]) -> Array:
    """XYZ D50 of one row of measurements."""
    bands = {int(k): float(v) for k, v in row.items() if k and k.strip().isdigit() and v not in (None, "")}
    if bands:
        if any(not -0.01 <= v <= 2.0 for v in bands.values()):
            raise ValueError("reflectance must be a share, 0 to 1")
        nm = np.arange(340, 831, 10)
        values = np.interp(nm, sorted(bands), [bands[k] for k in sorted(bands)])  # held constant beyond both ends
        names = {f"spec_{w}nm": float(v) for w, v in zip(nm, values, strict=True)}
        xyz = convert_color(SpectralColor(**names, illuminant="d50", observer="2"), XYZColor)
        white = convert_color(SpectralColor(**dict.fromkeys(names, 1.0), illuminant="d50", observer="2"), XYZColor)
        # Its table sums to a slightly different D50 (0.96397, 1, 0.82404): tie the white to ours.
        return np.asarray(np.array(xyz.get_value_tuple()) / np.array(white.get_value_tuple()) * WHITE_D50)
    illuminant = (row.get("illuminant") or "d50").strip().lower()
    lab = LabColor(
        _bounded(row["L"], 0.0, 110.0),
        _bounded(row["a"], -200.0, 200.0),
        _bounded(row["b"], -200.0, 200.0),
        observer=(row.get("observer") or "2").strip(),
        illuminant=illuminant,
    )
    xyz = convert_color(lab, XYZColor)
    if illuminant != "d50":
        xyz.apply_adaptation("d50", adaptation="bradford")
    return np.array(xyz.get_value_tuple())


def _bounded(text: str, low: float, high: float) -> float:
    value = float(text)
    if not low <= value <= high:  # NaN is in no bounds
        raise ValueError(f"{text} is not between {low:g} and {high:g}")
    return value
