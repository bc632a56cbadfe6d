"""A strip kind: what one sort of indicator strip looks like, read from its TOML file."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from stripread.errors import CallError
from stripread.user_file import fitted, toml_table, user_text


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
            raise CallError(f"strip kind '{self.name}' has no pads")
        if self.width_mm <= 0 or self.length_mm <= 0:
            raise CallError(f"strip kind '{self.name}': width_mm and length_mm must be positive")
        if not self.range[0] < self.range[1]:
            raise CallError(f"strip kind '{self.name}': range must run from low to high pH")
        end = 0.0
        for number, pad in enumerate(self.pads):
            if pad.length_mm <= 0 or pad.offset_mm < end - 1e-6:
                raise CallError(f"strip kind '{self.name}': pad {number} overlaps the one before or has no length")
            end = pad.offset_mm + pad.length_mm
        if end > self.length_mm + 1e-6:
            raise CallError(f"strip kind '{self.name}': the pads reach beyond length_mm")

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

    given = fitted(StripKindFile, table, where, "the strip kind")
    window = given.read_after_s
    if window is not None and not window[0] < window[1]:
        raise CallError(f"{where}: read_after_s of the strip kind must run from early to late, such as [10, 60]")
    return StripKind(
        name=given.name,
        width_mm=given.width_mm,
        length_mm=given.length_mm,
        pads=tuple(Pad(pad.offset_mm, pad.length_mm) for pad in given.pads),
        range=(given.range[0], given.range[1]),
        read_after_s=None if window is None else (window[0], window[1]),
    )


def load_kind(path: Path) -> StripKind:
    """Read a strip kind's TOML file.

    Raises
    ------
    CallError
        If the file is missing, not TOML, or lacks a field.
    """
    return kind_from_dict(toml_table(user_text(path, "strip kind"), str(path), "a TOML file"), str(path))
