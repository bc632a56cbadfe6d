"""What standards taught about the copper blue: a readable file and its numbers, or the textbook default."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import tomli_w

from stripread.errors import CallError
from stripread.tint.spectra import EPSILON, EPSILON_SD, per_mg_l_mm
from stripread.user_file import fitted, toml_table, user_text
from stripread.words import _

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
        If the file can't be written, or a number in it would not be read again.
    """
    from stripread.file_models import TintProfileFile  # noqa: PLC0415

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
    fitted(TintProfileFile, table, str(path), _("the tint profile"))
    try:
        path.write_text(tomli_w.dumps(table), encoding="utf-8")
    except OSError as problem:
        raise CallError(_("can't write {path}: {strerror}", path=path, strerror=problem.strerror)) from None


def load_tint_profile(path: Path) -> TintProfile:
    """Read a profile.

    Raises
    ------
    CallError
        If the file is missing, of another kind or broken.
    """
    from stripread.file_models import TintProfileFile  # noqa: PLC0415 - models load where a file is read

    table = toml_table(user_text(path, _("tint profile")), str(path), _("a tint profile"))
    if table.get("kind") != "tint" or table.get("format") != FORMAT:
        raise CallError(
            _(
                "{path} is not a tint profile of format {format}: make it with `stripread calibrate-tint`",
                path=path,
                format=FORMAT,
            )
        )
    response = fitted(TintProfileFile, table, str(path), _("the tint profile")).response
    return TintProfile(
        response.absorbance_per_mg_l_mm,
        response.relative_sd,
        response.repeat_relative_sd,
        response.blank_sd,
        learned=True,
        name=path.name,
        notes=table.get("made"),
    )
