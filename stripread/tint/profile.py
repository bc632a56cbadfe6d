"""What standards taught about the copper blue: a readable file and its numbers, or the textbook default."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import tomli_w

from stripread.errors import CallError
from stripread.tint.spectra import EPSILON, EPSILON_SD, TONE_SD, per_mg_l_mm
from stripread.user_file import fitted, toml_table, user_text
from stripread.words import _

FORMAT = 1


@dataclass(frozen=True)
class TintProfile:
    """Absorbance, one passage, for 1 mg/L of copper and 1 mm: ``response``, with its relative standard deviation.

    repeat_sd: relative scatter of one photo about the response; blank_sd: scatter of blanks, absorbance; learned:
    whether standards stand behind it; notes: how it was made. cameras: that took the standards, as their files name
    them; none where the files don't.
    """

    response: float
    response_sd: float
    repeat_sd: float = 0.0
    blank_sd: float = 0.0
    learned: bool = False
    name: str = ""
    notes: dict[str, Any] | None = None
    cameras: tuple[str, ...] = ()

    def of_phone(self, camera: str | None) -> TintProfile:
        """What standards teach about a photo by this camera, ``None`` where the photo names none.

        Of a camera that took standards, all of it. Of another one only what they tell of copper: the response that was
        learned is the absorptivity's times that phone's own; what it differs by from the usual is the absorptivity's in
        the share that this has in both's variance (conditioning of a normal sum).
        """
        if not self.learned or not self.cameras or camera in self.cameras:
            return self
        share = EPSILON_SD**2 / (EPSILON_SD**2 + TONE_SD**2)
        usual = per_mg_l_mm(EPSILON)
        sd = math.hypot(EPSILON_SD * math.sqrt(1.0 - share), share * self.response_sd)
        return replace(self, response=usual * (self.response / usual) ** share, response_sd=sd, learned=False)


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
        "cameras": list(profile.cameras),
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
    given = fitted(TintProfileFile, table, str(path), _("the tint profile"))
    response = given.response
    return TintProfile(
        response.absorbance_per_mg_l_mm,
        response.relative_sd,
        response.repeat_relative_sd,
        response.blank_sd,
        learned=True,
        name=path.name,
        notes=table.get("made"),
        cameras=tuple(given.cameras),
    )
