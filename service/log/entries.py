"""Entries as the API, the page and the exports show them."""

from __future__ import annotations

from typing import Any

from service.bench.question import told_json
from service.log.aside.phones import label
from service.log.course.standing import corrected
from service.log.store import Row
from service.moments import Moment
from stripread.words import N_, say
from stripread.words.retold import retold_reading

# General cautions of the trade that go with what the readings show. Local law and licensed practice go first.
_ACID = N_(
    "Strong acid: gloves and goggles; pour acid into water; neutralise slowly before it goes to the waste stock."
)
_LYE = N_("Strong lye: it blinds. Goggles and gloves; it heats up on dilution and with acid.")
_AMMONIA = N_(
    "Never store or dry liquid that has silver and ammonia in it: it can form an explosive. "
    "Acidify it at once after the test."
)


def cautions(entry: Row) -> list[str]:
    """What to be careful of after this reading; part of the page, not of the measurement."""
    if entry["kind"] == "cells":  # a blank holds none of the liquid
        return [say(_AMMONIA)] if entry["extras"].get("taking", {}).get("matching") == "swapped" else []
    if entry["kind"] == "tint":  # unless the reading itself says it
        said = any(reason["code"] == "caution_explosive" for reason in entry["reading"]["reasons"])
        return [] if said else [say(_AMMONIA)]
    if entry["kind"] != "ph" or entry["value"] is None:
        return []
    return [say(_ACID)] if entry["value"] < 2.5 else [say(_LYE)] if entry["value"] > 11.5 else []


def moment_view(moment: Moment) -> dict[str, str]:
    """When a photo was taken, as JSON: in UTC, in the batch's zone, and who told it."""
    return {
        "utc": moment.at,
        "local": moment.local,
        "zone": moment.zone,
        "source": moment.source,
        "text": moment.text,
        "told": moment.told,
    }


def shown(entry: Row, corrected_by: int | None) -> dict[str, Any]:
    """One entry as JSON: its reading, and a ``log`` beside it."""
    extras = entry["extras"]
    log = {
        "id": entry["id"],
        "batch": entry["batch_id"],
        "origin": entry["origin"],
        "received_at": entry["received_at"],
        "snapped_at": entry["snapped_at"],
        "moment": moment_view(entry["moment"]),
        "wash": entry["wash"],
        "note": entry["note"],
        "corrects": entry["corrects_id"],
        "corrected_by": corrected_by,
        "made_by": entry["made_by"],
        "why": entry["why"],
        "unreadable": bool(entry.get("unreadable")),
        "withdrawn": bool(extras.get("withdrawn")),
        "profile_sha256": entry["profile_sha256"],
        "colours": extras.get("colours", []),
        "cautions": cautions(entry),
        "said": extras.get("said", {}),
        "blank_entry": extras.get("blank", {}).get("entry"),
        "cells_entry": extras.get("cells", {}).get("entry"),
        "asked": [told_json(question) for question in extras.get("asked", [])],
        "vials_changed": bool(extras.get("cells", {}).get("changed")),
        "phone": label(entry.get("make"), entry.get("model"), entry.get("phone_name")),
        "phone_id": entry.get("phone_id"),
    }
    return {**retold_reading(entry["reading"]), "log": log}


def all_shown(rows: list[Row], newer: dict[int, int] | None = None) -> list[dict[str, Any]]:
    """Entries as JSON, each with the entry that corrects it: by ``newer``, or if these are all entries of a batch."""
    newer = corrected(rows) if newer is None else newer
    return [shown(row, newer.get(row["id"])) for row in rows]


def file_name(sent: str | None) -> str:
    """The last part of a name that a client sent, printable and short: it is shown, never used as a path."""
    last = (sent or "").replace("\\", "/").rsplit("/", 1)[-1]
    clean = "".join(ch for ch in last if ch.isprintable()).strip()
    return clean[:120] or "photo"
