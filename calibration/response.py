"""What standards of known copper teach: absorbance, one passage, per mg/L and mm, and how well photos repeat it."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from stripread import __version__
from stripread.errors import CallError, Refused
from stripread.photo import fingerprint
from stripread.tint.estimate import estimate_tint
from stripread.tint.profile import TintProfile
from stripread.tint.read import TintTrace, measure_tint
from stripread.tint.spectra import EPSILON_SD, TONE_SD, per_mg_l_mm
from stripread.tuned import tuned
from stripread.user_file import csv_table
from stripread.words import _

Array = NDArray[np.float64]

_TUNED = tuned("calibration")
LEAST_SIGNAL = _TUNED.number("least_signal")
DARKEST = _TUNED.number("standard_darkest")
REPEAT_FLOOR = _TUNED.number("standard_repeat")
PRIOR_SD = math.hypot(EPSILON_SD, TONE_SD)  # natural log of the response, phone included


@dataclass(frozen=True)
class KnownTint:
    """A photo of a standard as measured: copper mg/L, depth mm, absorbance with its sd, the photo's hash and camera."""

    mg_per_l: float
    path_mm: float
    absorbance: float
    sd: float
    sha256: str
    name: str
    camera: str | None = None


@dataclass(frozen=True)
class ResponseFit:
    """The profile and, in words, how well it fits; left_out: photos that could not be read or told nothing."""

    profile: TintProfile
    message: str
    left_out: tuple[str, ...]


@dataclass(frozen=True)
class _Row:
    path: Path
    name: str
    mg_per_l: float
    path_mm: float


def learn_response(table: Path) -> ResponseFit:
    """Measure the photos that a CSV names (columns ``photo,mg_per_l,path_mm``) and fit the response.

    Raises
    ------
    CallError
        If the table is broken, a photo is missing, or too little can be learned.
    """
    known, left_out = [], []
    for row in _rows(table):
        data = row.path.read_bytes()
        trace = TintTrace()
        try:
            estimate = estimate_tint(measure_tint(data, trace))
        except Refused as refused:
            left_out.append(f"{row.name}: {refused.reason.message}")
            continue
        camera = None if trace.card.photo is None else trace.card.photo.camera
        what = (row.mg_per_l, row.path_mm, estimate.absorbance, estimate.noise_sd)
        known.append(KnownTint(*what, fingerprint(data), row.name, camera))
    return fit_response(known, tuple(left_out))


def fit_response(known: list[KnownTint], left_out: tuple[str, ...] = ()) -> ResponseFit:
    """Fit ln(absorbance / (concentration x depth)) by weighted means; scatter beyond the noise is the repeatability.

    The textbook's absorptivity with its doubt and an unknown phone's stands as prior, so that one standard alone does
    not pass for certainty.

    Raises
    ------
    CallError
        If no standard shows a colour.
    """
    useful = [k for k in known if k.mg_per_l > 0 and LEAST_SIGNAL * k.sd < k.absorbance < DARKEST]
    blanks = [k for k in known if k.mg_per_l == 0]
    if not useful:
        raise CallError(
            _("no standard shows a colour that can be measured: use some of 20 to 200 mg/L, 10 to 50 mm deep")
        )
    logs = np.array([math.log(k.absorbance / (k.mg_per_l * k.path_mm)) for k in useful])
    noise = np.array([k.sd / k.absorbance for k in useful])
    repeat = _scatter(logs, noise)
    weights = 1.0 / (noise**2 + repeat**2)
    prior, prior_weight = math.log(per_mg_l_mm()), PRIOR_SD**-2
    mean = float((weights @ logs + prior_weight * prior) / (weights.sum() + prior_weight))
    sd = float((weights.sum() + prior_weight) ** -0.5)
    # Few standards leave their own scatter uncertain (Student's t against the normal used on reading).
    sd *= 1.0 + 1.5 / len(useful)
    blank_sd = float(np.sqrt(np.mean([k.absorbance**2 for k in blanks]))) if len(blanks) >= 3 else 0.0
    left_out += tuple(
        _("{name}: too pale or too dark to teach", name=k.name) for k in known if k.mg_per_l > 0 and k not in useful
    )
    notes = {
        "software": f"stripread {__version__}",
        "date": datetime.now(UTC).date().isoformat(),
        "standards": [
            {
                "photo": k.name,
                "mg_per_l": k.mg_per_l,
                "path_mm": k.path_mm,
                "absorbance": round(k.absorbance, 6),
                "sd": round(k.sd, 6),
                "sha256": k.sha256,
            }
            for k in known
        ],
        "left_out": list(left_out),
    }
    # One photo that does not say by which camera it was taken leaves open which phone was learned.
    cameras = () if any(k.camera is None for k in useful) else tuple(sorted({str(k.camera) for k in useful}))
    learned = (math.exp(mean), sd, repeat, blank_sd)
    profile = TintProfile(*learned, learned=True, notes=notes, cameras=cameras)
    ratio = profile.response / per_mg_l_mm()
    message = _(
        "{n_useful} standards: {ratio:.2f} times the textbook response, known to {sd:.0%}; one photo "
        "repeats to {repeat:.0%}",
        n_useful=len(useful),
        ratio=ratio,
        sd=sd,
        repeat=repeat,
    )
    return ResponseFit(profile, message, left_out)


def _scatter(logs: Array, noise: Array) -> float:
    """Scatter beyond the noise, by the method of moments, with half of a prior of one reading at the floor's double."""
    if len(logs) < 2:
        return 2.0 * REPEAT_FLOOR
    weights = 1.0 / (noise**2 + REPEAT_FLOOR**2)
    mean = weights @ logs / weights.sum()
    beyond = float(np.sum((logs - mean) ** 2) / (len(logs) - 1) - np.mean(noise**2))
    pooled = (max(beyond, 0.0) * (len(logs) - 1) + (2.0 * REPEAT_FLOOR) ** 2) / len(logs)
    return max(math.sqrt(pooled), REPEAT_FLOOR)


def _rows(table: Path) -> list[_Row]:
    columns, lines = csv_table(table)
    missing = [c for c in ("photo", "mg_per_l", "path_mm") if c not in columns]
    if missing:
        raise CallError(
            _(
                "{table}, line 1: no column {missing}; wanted photo,mg_per_l,path_mm",
                table=table,
                missing=", ".join(missing),
            )
        )
    if not lines:
        raise CallError(_("{table} has a head but no lines: give one for each photo", table=table))
    rows = []
    for number, line in lines:
        name = line["photo"].strip()
        place = table.parent / name
        try:
            there = bool(name) and place.is_file()
        except (OSError, ValueError):  # a name too long for a file, or with a NUL in it
            there = False
        if not there:
            raise CallError(
                _("{table}, line {number}, column photo: no such photo '{name}'", table=table, number=number, name=name)
            )
        known = _number(table, number, line, "mg_per_l", 0.0)
        rows.append(_Row(place, name, known, _number(table, number, line, "path_mm", 0.1)))
    return rows


def _number(table: Path, number: int, line: dict[str, str], column: str, least: float) -> float:
    text = line[column].strip()
    where = _("{table}, line {number}, column {column}", table=table, number=number, column=column)
    try:
        value = float(text)
    except ValueError:
        hint = _(" (write a decimal point, not a comma)") if "," in text else ""
        raise CallError(
            _(
                "{where}: {word}",
                where=where,
                word=_("{text!r} is not a number{hint}", text=text, hint=hint) if text else _("is empty"),
            )
        ) from None
    if not math.isfinite(value) or value < least or value > 1e5:
        raise CallError(
            _("{where}: {value:g} is not between {least:g} and 100,000", where=where, value=value, least=least)
        )
    return value
