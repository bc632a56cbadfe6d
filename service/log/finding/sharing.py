"""What a shared reading says beside its drawing: value, state, batch, time, and every caution."""

from __future__ import annotations

from datetime import datetime

from service.log.entries import shown
from service.log.finding.sources import value_words
from service.log.store import Row
from service.moments import offset_of
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
    about = [f"{batch['name']}{wash}", f"{_time(row)} · entry {row['id']} · {log['phone']}"]
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


def _time(row: Row) -> str:
    """When it was taken, in its batch's zone, with the offset."""
    at = datetime.fromisoformat(row["moment"].local)
    return f"{at:%Y-%m-%d %H:%M} UTC{offset_of(at)}"
