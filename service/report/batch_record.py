"""A batch as it is filed: what the report shows, and nothing it would have to look up or work out."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

from service.bench.notes import Note, struck
from service.bench.procedure import NEUTRAL
from service.bench.state import State


@dataclass(frozen=True)
class FiledReading:
    """One reading of the log. ``data`` is its JSON; ``thumbnail`` a small JPEG, or None."""

    id: int
    at: str
    kind: str
    wash: int | None
    data: dict[str, Any]
    note: str = ""
    thumbnail: bytes | None = None
    corrects: int | None = None
    corrected_by: int | None = None
    why: str | None = None
    who: str | None = None
    withdrawn: bool = False
    blank: bool = False  # of the rinse water itself

    @property
    def text(self) -> str:
        """Value with its interval, as a person writes it."""
        data = self.data
        if data.get("status") == "refused":
            return "refused"
        if self.kind == "ph" and data.get("ph") is not None:
            return f"pH {data['ph']:.2f} ({data['interval'][0]:.2f} to {data['interval'][1]:.2f})"
        if self.kind == "tint":
            return _tint(data)
        if self.kind == "solid" and data.get("pale_fraction") is not None:
            low, high = data["pale_interval"]
            return f"{data['pale_fraction']:.1%} pale ({low:.1%} to {high:.1%})"
        return "no value"

    @property
    def source(self) -> str:
        """Photo and profile, shortened hashes."""
        profile = self.data.get("profile")
        photo = str(self.data.get("sha256", ""))[:12]
        return f"photo {photo}" + (f", profile {str(profile)[:24]}" if profile else "")

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why it is doubtful or refused, in words. Notes and cautions, the same with each photo, are left out."""
        return tuple(str(r["message"]) for r in self.data.get("reasons", []) if r.get("severity") != "note")


def _tint(data: dict[str, Any]) -> str:
    text = str(data.get("decision", "undecided"))
    if data.get("mg_per_l") is not None and data.get("decision") == "copper":
        text += f", {data['mg_per_l']:.0f} mg/L ({data['interval'][0]:.0f} to {data['interval'][1]:.0f})"
    elif data.get("detection_limit") is not None:
        text += f", limit {data['detection_limit']:.2g} mg/L"
    return text


@dataclass(frozen=True)
class Filed:
    """The batch. ``forecasts`` has one flat wash forecast for each washing; ``band`` is the pH called neutral."""

    number: int
    name: str
    opened_at: str
    closed_at: str | None
    software: str
    state: State
    readings: tuple[FiledReading, ...]
    notes: tuple[Note, ...]
    water: str
    forecasts: tuple[dict[str, Any], ...] = ()
    band: tuple[float, float] = NEUTRAL

    @property
    def in_force(self) -> tuple[FiledReading, ...]:
        """Readings that count: no later one corrects them, and they were not withdrawn."""
        return tuple(r for r in self.readings if r.corrected_by is None and not r.withdrawn)

    @property
    def corrections(self) -> tuple[FiledReading, ...]:
        """Readings that correct an older one."""
        return tuple(r for r in self.readings if r.corrects is not None)

    def noted(self, *kinds: str) -> tuple[tuple[Note, str], ...]:
        """Notes of these kinds, each with why it was struck out (or nothing)."""
        out = struck(list(self.notes))
        return tuple((n, str(out[n.id].data["why"]) if n.id in out else "") for n in self.notes if n.kind in kinds)


def spelled(note: Note) -> str:
    """A note in words, for lists."""
    d = note.data
    maker = {"weight": _weight, "decant": _decant}.get(note.kind)
    if maker is not None:
        return maker(d)
    if note.kind == "used":
        size = f"{d['grams']:g} g" if "grams" in d else f"{d['litres']:g} L" if "litres" in d else "some"
        return f"{d['what']}: {size}"
    if note.kind == "ammonia_test":
        return f"{d['ml']:g} mL of {d['mol_l']:g} mol/L ammonia, on {'solid' if d.get('on_solid') else 'clear liquid'}"
    if note.kind == "poured":
        ph = f", pH {d['ph']:g}" if "ph" in d else ""
        return f"{d['what']}: {d['litres']:g} L{ph}"
    return ", ".join(f"{k.replace('_', ' ')} {v}" for k, v in d.items())


def _weight(d: dict[str, Any]) -> str:
    scale = f" ± {d['scale_g']:g}" if "scale_g" in d else ""
    more = f", {d['moisture'][0]:.0%} to {d['moisture'][1]:.0%} moisture" if "moisture" in d else ""
    more += f", fineness {d['fineness'][0]:g} to {d['fineness'][1]:g}" if "fineness" in d else ""
    return f"{d['of']}: {d['grams']:g}{scale} g{more}"


def _decant(d: dict[str, Any]) -> str:
    settled = f", settled {d['settled_h']:g} h" if "settled_h" in d else ""
    looks = f", {d['looks']}" if "looks" in d else ""
    return f"{d['name']}: {d['litres']:g} L{settled}{looks}"
