"""What standards taught about the copper blue: a readable file and its numbers, or the textbook default."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomli_w

from stripread.errors import CallError
from stripread.tint.spectra import EPSILON, EPSILON_SD, per_mg_l_mm

FORMAT = 1


@dataclass(frozen=True)
class TintProfile:
    """Absorbance, one passage, for 1 mg/L of copper and 1 mm: ``response``, with its relative standard deviation.

    repeat_sd: relative scatter of one photo about the response; blank_sd: scatter of blanks, absorbance; learned:
    whether standards stand behind it; notes: how it was made.
    """

    response: float
    response_sd: float
    repeat_sd: float = 0.0
    blank_sd: float = 0.0
    learned: bool = False
    name: str = ""
    notes: dict[str, Any] | None = None


def default_response() -> TintProfile:
    """The textbook absorptivity and its doubt (see ``spectra``)."""
    return TintProfile(per_mg_l_mm(EPSILON), EPSILON_SD)


def save_tint_profile(profile: TintProfile, path: Path) -> None:
    """Write a profile as TOML.

    Raises
    ------
    CallError
        If the file can't be written.
    """
    table: dict[str, Any] = {
        "format": FORMAT,
        "kind": "tint",
        "response": {
            "absorbance_per_mg_l_mm": profile.response,
            "relative_sd": profile.response_sd,
            "repeat_relative_sd": profile.repeat_sd,
            "blank_sd": profile.blank_sd,
        },
        "made": profile.notes or {},
    }
    try:
        path.write_text(tomli_w.dumps(table), encoding="utf-8")
    except OSError as problem:
        raise CallError(f"can't write {path}: {problem.strerror}") from None


def load_tint_profile(path: Path) -> TintProfile:
    """Read a profile.

    Raises
    ------
    CallError
        If the file is missing, of another kind or broken.
    """
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        raise CallError(f"can't read {path}: {problem.strerror}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise CallError(f"{path} is not a tint profile: {problem}") from None
    if table.get("kind") != "tint" or table.get("format") != FORMAT:
        raise CallError(f"{path} is not a tint profile of format {FORMAT}: make it with `stripread calibrate-tint`")
    try:
        response = table["response"]
        numbers = [
            float(response[name])
            for name in ("absorbance_per_mg_l_mm", "relative_sd", "repeat_relative_sd", "blank_sd")
        ]
    except (KeyError, TypeError, ValueError) as problem:
        raise CallError(f"{path}: [response] lacks a number ({problem})") from None
    if not numbers[0] > 0 or min(numbers[1:]) < 0:
        raise CallError(f"{path}: [response] holds a number out of range")
    value, sd, repeat, blank = numbers
    return TintProfile(value, sd, repeat, blank, learned=True, name=path.name, notes=table.get("made"))
