"""A strip kind: what one sort of indicator strip looks like, read from its TOML file."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from stripread.errors import CallError
from stripread.user_file import DoesNotFit, fitted, toml_table, user_text
from stripread.words import N_, SOURCE, _, say, spoken

# What each field of the file is, for whoever wrote another thing there
_WANTED = {
    "name": N_("a text of 1 to 200 letters, in quotes"),
    "width_mm": N_("the strip's width in mm, more than 0 and up to 100, such as 6.0"),
    "length_mm": N_("a length in mm, more than 0 and up to 500, such as 6.0"),
    "offset_mm": N_("mm from the dipped end to where the pad begins, 0 to 500, such as 2.0"),
    "pads": N_("1 to 24 pads, such as [{offset_mm = 2.0, length_mm = 6.0}, {offset_mm = 9.5, length_mm = 6.0}]"),
    "range": N_("the lowest and the highest pH of the strip, each from -1 to 15, such as [0, 14]"),
    "read_after_s": N_("when to read the strip, in seconds after dipping, such as [10, 60]"),
}
ROLL_MM = (
    7.0,
    40.0,
)  # width of common rolls, and length of a piece torn off (from memory); the reader allows for others
_PAD = N_("{offset_mm = 2.0, length_mm = 6.0}, mm from the dipped end")


@dataclass(frozen=True)
class Pad:
    """One reagent pad: where it starts from the dipped end, and how long it is (mm)."""

    offset_mm: float
    length_mm: float


@dataclass(frozen=True)
class StripKind:
    """Geometry and pH range of one sort of strip. Offsets run from the dipped end."""

    name: str
    width_mm: float
    length_mm: float
    pads: tuple[Pad, ...]
    range: tuple[float, float]
    read_after_s: tuple[float, float] | None = None  # the maker's reading window after dipping

    def __post_init__(self) -> None:
        if not self.pads:
            raise CallError(_("strip kind '{name}' has no pads", name=self.name))
        if self.width_mm <= 0 or self.length_mm <= 0:
            raise CallError(_("strip kind '{name}': width_mm and length_mm must be positive", name=self.name))
        if not self.range[0] < self.range[1]:
            low, high = self.range
            text = _("range must run from low to high pH, such as [0, 14], not [{low:g}, {high:g}]", low=low, high=high)
            raise CallError(_("strip kind '{name}': {text}", name=self.name, text=text))
        end = 0.0
        for number, pad in enumerate(self.pads):
            where = _("strip kind '{name}': {number}", name=self.name, number=pad_name(number))
            if pad.length_mm <= 0:
                raise CallError(
                    _("{where} has no length: length_mm is {length_mm:g}", where=where, length_mm=pad.length_mm)
                )
            if pad.offset_mm < end - 1e-6:
                there = (
                    _("the strip does")
                    if number == 0
                    else _("pad {number} ends, {end:g} mm", number=number - 1, end=end)
                )
                text = _("begins at {offset_mm:g} mm, before {there}", offset_mm=pad.offset_mm, there=there)
                raise CallError(
                    _("{where} {text}: offset_mm runs from the dipped end, pads in their order", where=where, text=text)
                )
            end = pad.offset_mm + pad.length_mm
            if end > self.length_mm + 1e-6:
                text = _(
                    "ends at {end:g} mm, beyond the strip's length_mm of {length_mm:g}",
                    end=end,
                    length_mm=self.length_mm,
                )
                raise CallError(_("{where} {text}: offset_mm runs from the dipped end", where=where, text=text))

    @property
    def is_roll(self) -> bool:
        """Whether this is indicator paper off a roll: one pad as long as the piece."""
        return len(self.pads) == 1 and self.pads[0].length_mm >= 0.95 * self.length_mm

    def to_dict(self) -> dict[str, Any]:
        """The kind as the plain tables and numbers of its TOML file."""
        table: dict[str, Any] = {
            "name": self.name,
            "width_mm": self.width_mm,
            "length_mm": self.length_mm,
            "pads": [{"offset_mm": p.offset_mm, "length_mm": p.length_mm} for p in self.pads],
            "range": list(self.range),
        }
        if self.read_after_s is not None:
            table["read_after_s"] = list(self.read_after_s)
        return table


def kind_from_dict(table: object, where: str) -> StripKind:
    """Build a kind from parsed TOML; ``where`` names the file in messages.

    Raises
    ------
    CallError
        If a field is missing, has the wrong form or is out of bounds.
    """
    from stripread.file_models import StripKindFile  # noqa: PLC0415 - models load where a file is read

    try:
        given = fitted(StripKindFile, table, where, _("the strip kind"))
    except DoesNotFit as wrong:
        raise CallError(f"{where}: {_in_words(wrong)}") from None
    window = given.read_after_s
    if window is not None and not window[0] < window[1]:
        raise CallError(
            _("{where}: read_after_s of the strip kind must run from early to late, such as [10, 60]", where=where)
        )
    try:
        return StripKind(
            name=given.name,
            width_mm=given.width_mm,
            length_mm=given.length_mm,
            pads=tuple(Pad(pad.offset_mm, pad.length_mm) for pad in given.pads),
            range=(given.range[0], given.range[1]),
            read_after_s=None if window is None else (window[0], window[1]),
        )
    except CallError as wrong:
        raise CallError(f"{where}: {wrong}") from None


def kind_text(kind: StripKind) -> str:
    """The kind as the text of its TOML file."""
    import tomli_w  # noqa: PLC0415 - only where a file is written

    return tomli_w.dumps(kind.to_dict())


def roll_kind(
    name: str,
    ph_range: tuple[float, float],
    read_after_s: tuple[float, float] | None = None,
    *,
    width_mm: float = ROLL_MM[0],
    length_mm: float = ROLL_MM[1],
) -> StripKind:
    """Indicator paper off a roll: one pad as long as the piece, whose length may differ from photo to photo.

    Raises
    ------
    CallError
        If a length is none, or the range does not run from low to high.
    """
    return StripKind(name, width_mm, length_mm, (Pad(0.0, length_mm),), ph_range, read_after_s)


def pad_name(number: int) -> str:
    """A pad by its number, which counts from 0, and by its place, which people count from 1."""
    ending = "th" if 10 <= number < 13 else {1: "st", 2: "nd", 3: "rd"}.get((number + 1) % 10, "th")
    place = f"{number + 1}{ending}" if spoken() == SOURCE else str(number + 1)
    return _("pad {number} (the {place} from the dipped end)", number=number, place=place)


def _in_words(wrong: DoesNotFit) -> str:
    """Which pad and field of a strip kind's file is missing or wrong, and what was wanted there."""
    of_pad = len(wrong.place) > 1 and wrong.place[0] == "pads" and isinstance(wrong.place[1], int)
    owner = pad_name(int(wrong.place[1])) if of_pad else _("the strip kind")
    if of_pad and len(wrong.place) == 2:
        return _("{owner} is {shown}; wanted {pad}", owner=owner, shown=wrong.shown, pad=say(_PAD))
    field = str(wrong.place[2 if of_pad else 0]) if wrong.place else ""
    wanted = say(_WANTED.get(field, N_("a table of TOML")))
    if not wrong.missing:
        return _(
            "{owner}: {field} is {shown}; wanted {wanted}", owner=owner, field=field, shown=wrong.shown, wanted=wanted
        )
    there = [str(key) for key in wrong.given] if isinstance(wrong.given, dict) else []
    near = difflib.get_close_matches(field, [key for key in there if key not in _WANTED], n=1)
    return _(
        "{owner} lacks {field}{word}; wanted {wanted}",
        owner=owner,
        field=field,
        word=_(" (is {near_0!r} a slip for it?)", near_0=near[0]) if near else "",
        wanted=wanted,
    )


def load_kind(path: Path) -> StripKind:
    """Read a strip kind's TOML file.

    Raises
    ------
    CallError
        If the file is missing, not TOML, or lacks a field.
    """
    return kind_from_dict(toml_table(user_text(path, _("strip kind")), str(path), _("a TOML file")), str(path))
