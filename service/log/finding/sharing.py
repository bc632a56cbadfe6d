"""What a shared reading says beside its drawing: value, state, batch, time, and every caution."""

from __future__ import annotations

from datetime import UTC, datetime

from service.log.entries import shown
from service.log.finding.sources import value_words
from service.log.store import Row
from service.log.taken import taken_at
from service.report.shared_picture import SharedWords

RULES = "General cautions: your local rules, the safety data sheets and licensed practice go first."
_KIND = {"ph": "pH", "tint": "Copper tint", "solid": "Solid", "cells": "Pair of vials"}
_MOST = 6  # reasons


def shared_words(row: Row, batch: Row, corrected_by: int | None) -> SharedWords:
    """The words for one entry of the log, of this batch."""
    entry = shown(row, corrected_by)
    log, reading = entry["log"], row["reading"]
    reasons = sorted(reading["reasons"], key=lambda r: ["refuse", "doubt", "note"].index(r["severity"]))
    careful = [r["message"] for r in reasons if r["code"].startswith("caution_")]
    plain = [r["message"] for r in reasons if not r["code"].startswith("caution_")]
    wash = "" if row["wash"] is None else f", wash {row['wash']}"
    about = [f"{batch['name']}{wash}", f"{_time(row, batch['opened_at'])} · entry {row['id']} · {log['phone']}"]
    about += [row["note"]] if row["note"] else []
    if row["corrects_id"] is not None:
        what = "Withdraws" if log["withdrawn"] else "Corrects"
        about.append(f"{what} entry {row['corrects_id']}: {row['why']} ({row['made_by']})")
    if corrected_by is not None:
        about.append(f"No longer counts: corrected by entry {corrected_by}")
    return SharedWords(
        value=_value(row, reading),
        status=str(row["status"]),
        about=tuple(about),
        said=tuple(plain[:_MOST]),
        cautions=(*careful, *log["cautions"], RULES),
    )


def _value(row: Row, reading: Row) -> str:
    kind = _KIND[row["kind"]]
    if row["status"] == "refused":
        return f"{kind}: no value"
    decision = f"{kind}: {reading['decision']}" if row["kind"] == "tint" and reading.get("decision") else ""
    words = value_words(row)
    if row["kind"] == "cells":
        return kind
    return "; ".join(part for part in (decision, f"{words}, 95 %" if words else "") if part) or kind


def _time(row: Row, opened_at: str) -> str:
    """When it was taken, in the phone's own zone where that is known, with the zone."""
    at = datetime.fromisoformat(taken_at(row["received_at"], row["snapped_at"], opened_at))
    try:
        at = at.astimezone(datetime.fromisoformat(row["snapped_at"] or "").tzinfo or UTC)
    except (ValueError, OverflowError):
        at = at.astimezone(UTC)
    zone = f"{at:%z}"
    return f"{at:%Y-%m-%d %H:%M} UTC{zone[:3]}:{zone[3:5]}"
