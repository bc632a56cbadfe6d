"""What is wrong with a procedure's file, in one sentence: which stage, which key, and what to write."""

from __future__ import annotations

import difflib
from collections.abc import Iterable, Mapping

from pydantic_core import ErrorDetails

from service.bench.quantities import WrongQuantity
from service.bench.stages.gate_kinds import GATES, AllOf, Gate
from stripread.words import _

# What stands at a key, as somebody would write it.
EXAMPLES: dict[str, str] = {
    "id": 'id = "wash"',
    "title": 'title = "Wash the acid out"',
    "do": 'do = "Stir, settle, pour off."',
    "read": 'read = ["ph", "tint"]',
    "optional": "optional = true",
    "gate": 'gate = { kind = "by_hand" }',
    "cautions": 'cautions = ["Goggles and gloves."]',
    "wrong": 'wrong = ["It may settle slowly."]',
    "holds": 'holds = "silver powder under rinse water"',
    "contents": 'contents = ["silver powder", "acid"]',
    "kind": 'kind = "ph_neutral"',
    "times": "times = 2",
    "ppm": "ppm = 20.0",
    "share": "share = 0.01",
    "within_share": "within_share = 0.001",
    "band": "band = [6.0, 8.0]",
    "within_g": 'within_g = "50 mg"',
    "hours": 'hours = "90 min"',
    "magnet": "magnet = true",
    "metal": 'metal = ["zinc"]',
    "stage": 'stage = "wash"',
    "note": 'note = "used"',
    "what": 'what = ["zinc"]',
    "test": 'test = "chloride"',
    "of": 'of = [{ kind = "ph_neutral" }, { kind = "timed", hours = 2.0 }]',
    "name": 'name = "silver from chloride, our way"',
    "version": "version = 1",
}


def unknown_key(key: str, known: Iterable[str]) -> str:
    """A key that no table of this sort has, with the nearest that it has."""
    keys = [*known]
    near = difflib.get_close_matches(key, keys, n=1)
    hint = _(": did you mean {near}?", near=near[0]) if near else _("; there are {keys}", keys=", ".join(keys))
    return _("unknown key {place_0!r}", place_0=key) + hint


def write_so(fault: str, key: str) -> str:
    """``fault`` with an example of what to write at ``key``."""
    return _("{fault}; write for example {example}", fault=fault, example=EXAMPLES[key]) if key in EXAMPLES else fault


def stage_fault(error: ErrorDetails, keys: Iterable[str], reads: Iterable[str]) -> str:
    """The first thing wrong with a stage: which key, and what it may be."""
    place, given = [str(part) for part in error["loc"]], error["input"]
    key = place[0]
    if key == "gate":
        return _gate_fault(error, place[1:], given)
    if error["type"] == "extra_forbidden":
        return unknown_key(key, keys)
    if key in ("id", "title"):
        return write_so(_("{place_0} is missing", place_0=key), key)
    if error["type"] == "literal_error":
        return _("can't read {given!r}; there are {reads}", given=given, reads=", ".join(reads))
    if key == "optional":
        return write_so(_("{place_0} must be true or false", place_0=key), key)
    text = _("{place_0} must be a text", place_0=key)
    fault = text if key in ("do", "holds") else _("{place_0} must be a list of texts", place_0=key)
    return write_so(fault, key)


def _gate_fault(error: ErrorDetails, place: list[str], given: object) -> str:
    """``place``: the way to the key within the gate: its kind, of an `all` the part's number and kind, the key."""
    if place[:2] == [AllOf.model_fields["kind"].default, "of"]:
        if len(place) < 3:
            return write_so(_("an all gate needs the gates that it is made of"), "of")
        place = place[3:]
    if error["type"] in ("union_tag_invalid", "union_tag_not_found", "model_attributes_type", "dict_type") or not place:
        named = given.get("kind") if isinstance(given, Mapping) else given
        near = difflib.get_close_matches(str(named), GATES, n=1)
        hint = _(": did you mean {near}?", near=near[0]) if near else ""
        return write_so(_("the gate's kind must be one of {gates}", gates=", ".join(GATES)) + hint, "gate")
    kind, key = (place[0], place[1]) if place[0] in GATES and len(place) > 1 else (_kind_of(given), place[0])
    if error["type"] == "extra_forbidden":
        known = [k for k in _model(kind).model_fields if k != "kind"] if kind in GATES else []
        none = _("a {place_1} gate has no {key!r}", place_1=kind, key=key)
        return _("{fault}; there are {keys}", fault=none, keys=", ".join(known)) if known else none
    if error["type"] == "missing":
        return write_so(_("a {kind} gate needs {key}", kind=kind, key=key), key)
    why = error.get("ctx", {}).get("error")
    fault = _("the gate's {key} can't be {given!r}", key=key, given=given)
    return write_so(f"{fault}: {why}" if isinstance(why, WrongQuantity) else fault, key)


def _kind_of(given: object) -> str:
    return str(given.get("kind")) if isinstance(given, Mapping) else ""


def _model(kind: str) -> type[Gate]:
    return GATES[kind]
