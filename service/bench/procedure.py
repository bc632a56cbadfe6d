"""A procedure as data: stages with what is read, the gate that opens the next one, cautions, what can go wrong."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass, field
from importlib.resources import files
from pathlib import Path
from typing import Any

from stripread.errors import CallError

READS = ("ph", "tint", "solid", "weight", "note")
NEUTRAL = (6.0, 8.0)  # pH called neutral where a procedure does not say; common practice, no source
# gate kind -> its settings and what they are when left out
GATES: dict[str, dict[str, Any]] = {
    "tint_none": {"times": 2, "ppm": 20.0},
    "pale_below": {"share": 0.01},
    "ph_neutral": {"band": list(NEUTRAL)},
    "weight_constant": {"within_g": 0.05, "within_share": 0.001, "hours": 1.0},
    "by_hand": {},
}
SHIPPED = ("chloride_lye_sugar", "copper_cementation")


@dataclass(frozen=True)
class Gate:
    """What opens the next stage: a kind of GATES and its settings."""

    kind: str
    settings: dict[str, Any] = field(default_factory=dict)


@dataclass(frozen=True)
class Stage:
    """One stage of a procedure."""

    id: str
    title: str
    do: str
    read: tuple[str, ...]
    gate: Gate
    cautions: tuple[str, ...]
    wrong: tuple[str, ...]


@dataclass(frozen=True)
class Procedure:
    """Stages in their order. ``text`` is the file as it was read: the log keeps it with the batch."""

    name: str
    version: int
    stages: tuple[Stage, ...]
    text: str

    def stage(self, name: str) -> Stage:
        """The stage with this id.

        Raises
        ------
        CallError
            If there is none.
        """
        for stage in self.stages:
            if stage.id == name:
                return stage
        raise CallError(f"no stage {name!r} in this procedure; there are {', '.join(s.id for s in self.stages)}")

    def after(self, name: str) -> Stage | None:
        """The stage after this one; None after the last."""
        place = self.stages.index(self.stage(name)) + 1
        return self.stages[place] if place < len(self.stages) else None

    def band(self, name: str) -> tuple[float, float]:
        """The pH that counts as neutral in this stage: of its own gate, else of the next pH gate, else of one before.

        The only place that says it: gates, forecast, page and report all ask here.
        """
        place = self.stages.index(self.stage(name))
        for stage in (*self.stages[place:], *reversed(self.stages[:place])):
            if stage.gate.kind == "ph_neutral":
                low, high = stage.gate.settings["band"]
                return float(low), float(high)
        return NEUTRAL


def load_procedure(where: str | Path) -> Procedure:
    """A shipped procedure by its name, or a TOML file.

    Raises
    ------
    CallError
        If it can't be read or is not a procedure; the message names the stage and the key at fault.
    """
    if str(where) in SHIPPED:
        return parse_procedure((files("service.bench") / "procedures" / f"{where}.toml").read_text(encoding="utf-8"))
    path = Path(where)
    try:
        text = path.read_text(encoding="utf-8")
    except (OSError, UnicodeDecodeError):
        raise CallError(f"can't read the procedure {path}; shipped ones: {', '.join(SHIPPED)}") from None
    return parse_procedure(text)


def parse_procedure(text: str) -> Procedure:
    """A procedure from the text of its file; raises CallError as ``load_procedure``."""
    try:
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as problem:
        raise CallError(f"the procedure is not valid TOML: {problem}") from None
    raw = data.get("stage")
    if not isinstance(raw, list) or not raw:
        raise CallError("the procedure has no [[stage]]")
    stages = tuple(_stage(entry, place) for place, entry in enumerate(raw, 1))
    names = [stage.id for stage in stages]
    if len(set(names)) != len(names):
        raise CallError("two stages of the procedure have the same id")
    version = data.get("version", 1)
    if not isinstance(version, int):
        raise CallError("the procedure's version must be a whole number")
    return Procedure(str(data.get("name", "unnamed")), version, stages, text)


def _stage(entry: object, place: int) -> Stage:
    if not isinstance(entry, dict):
        raise CallError(f"stage {place} is not a table")
    where = f"stage {entry.get('id', place)!s}"
    for key in ("id", "title"):
        if not isinstance(entry.get(key), str) or not entry[key]:
            raise CallError(f"{where}: {key} is missing")
    unknown = set(entry) - {"id", "title", "do", "read", "gate", "cautions", "wrong"}
    if unknown:
        raise CallError(f"{where}: unknown key {sorted(unknown)[0]!r}")
    read = _texts(entry, "read", where)
    for kind in read:
        if kind not in READS:
            raise CallError(f"{where}: can't read {kind!r}; there are {', '.join(READS)}")
    return Stage(
        entry["id"],
        entry["title"],
        str(entry.get("do", "")),
        read,
        _gate(entry.get("gate", {"kind": "by_hand"}), where),
        _texts(entry, "cautions", where),
        _texts(entry, "wrong", where),
    )


def _texts(entry: dict[str, Any], key: str, where: str) -> tuple[str, ...]:
    value = entry.get(key, [])
    if not isinstance(value, list) or not all(isinstance(v, str) for v in value):
        raise CallError(f"{where}: {key} must be a list of texts")
    return tuple(value)


def _gate(raw: object, where: str) -> Gate:
    if not isinstance(raw, dict) or raw.get("kind") not in GATES:
        raise CallError(f"{where}: the gate's kind must be one of {', '.join(GATES)}")
    known = GATES[raw["kind"]]
    settings = {**known, **{k: v for k, v in raw.items() if k != "kind"}}
    for key, value in settings.items():
        if key not in known:
            raise CallError(f"{where}: a {raw['kind']} gate has no {key!r}")
        if isinstance(known[key], list):
            good = (
                isinstance(value, list) and len(value) == 2 and all(_number(v) for v in value) and value[0] < value[1]
            )
        else:
            good = _number(value) and value > 0
        if not good:
            raise CallError(f"{where}: the gate's {key} can't be {value!r}")
    return Gate(raw["kind"], settings)


def _number(value: object) -> bool:
    return isinstance(value, int | float) and not isinstance(value, bool)
