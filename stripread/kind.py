"""A strip kind: what one sort of indicator strip looks like, read from its TOML file."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from stripread.errors import CallError


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


def kind_from_dict(table: dict[str, Any], where: str) -> StripKind:
    """Build a kind from parsed TOML; ``where`` names the file in messages.

    Raises
    ------
    CallError
        If a field is missing or has the wrong form.
    """
    try:
        window = table.get("read_after_s")
        return StripKind(
            name=str(table["name"]),
            width_mm=float(table["width_mm"]),
            length_mm=float(table["length_mm"]),
            pads=tuple(Pad(float(p["offset_mm"]), float(p["length_mm"])) for p in table["pads"]),
            range=(float(table["range"][0]), float(table["range"][1])),
            read_after_s=None if window is None else (float(window[0]), float(window[1])),
        )
    except KeyError as missing:
        raise CallError(f"{where}: the strip kind lacks {missing}") from None
    except (TypeError, ValueError, IndexError):
        raise CallError(f"{where}: a field of the strip kind is not a number where one is needed") from None


def load_kind(path: Path) -> StripKind:
    """Read a strip kind's TOML file.

    Raises
    ------
    CallError
        If the file is missing, not TOML, or lacks a field.
    """
    try:
        table = tomllib.loads(path.read_text(encoding="utf-8"))
    except OSError as problem:
        raise CallError(f"can't read the strip kind {path}: {problem.strerror}") from None
    except (tomllib.TOMLDecodeError, UnicodeDecodeError) as problem:
        raise CallError(f"{path} is not a TOML file: {problem}") from None
    return kind_from_dict(table, str(path))
