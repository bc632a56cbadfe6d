"""What a shared reading says beside its drawing: value, state, batch, time, and every caution."""

from __future__ import annotations

from datetime import datetime

from service.log.entries import shown
from service.log.finding.sources import value_words
from service.log.store import Row
from service.moments import offset_of
from service.report.shared_picture import SharedWords
from stripread.words import N_, _, say
from stripread.words.dates import day_and_time
from stripread.words.retold import retold_reading

RULES = N_("General cautions: your local rules, the safety data sheets and licensed practice go first.")
_KIND = {"ph": "pH", "tint": N_("Copper tint"), "solid": N_("Solid"), "cells": N_("Pair of vials")}
_MOST = 6  # reasons


def shared_words(row: Row, batch: Row, corrected_by: int | None) -> SharedWords:
    """The words for one entry of the log, of this batch."""
    entry = shown(row, corrected_by)
    log, reading = entry["log"], retold_reading(row["reading"])
    reasons = sorted(reading["reasons"], key=lambda r: ["refuse", "doubt", "note"].index(r["severity"]))
    careful = [r["message"] for r in reasons if r["code"].startswith("caution_")]
    plain = [r["message"] for r in reasons if not r["code"].startswith("caution_")]
    wash = "" if row["wash"] is None else f", {_('wash {n}', n=str(row['wash']))}"
    about = [f"{batch['name']}{wash}", f"{_time(row)} · {_('entry {n}', n=str(row['id']))} · {log['phone']}"]
    about += [row["note"]] if row["note"] else []
    if row["corrects_id"] is not None:
        said = {"n": str(row["corrects_id"]), "why": row["why"], "who": row["made_by"]}
        line = _("Withdraws entry {n}: {why} ({who})", **said) if log["withdrawn"] else None
        about.append(line or _("Corrects entry {n}: {why} ({who})", **said))
    if corrected_by is not None:
        about.append(_("No longer counts: corrected by entry {n}", n=str(corrected_by)))
    return SharedWords(
        value=_value(row, reading),
        status=str(row["status"]),
        about=tuple(about),
        said=tuple(plain[:_MOST]),
        cautions=(*careful, *log["cautions"], say(RULES)),
    )


def _value(row: Row, reading: Row) -> str:
    kind = say(_KIND[row["kind"]])
    if row["status"] == "refused":
        return _("{what}: no value", what=kind)
    decision = f"{kind}: {say(reading['decision'])}" if row["kind"] == "tint" and reading.get("decision") else ""
    words = value_words(row)
    if row["kind"] == "cells":
        return kind
    return "; ".join(part for part in (decision, f"{words}, 95 %" if words else "") if part) or kind


def _time(row: Row) -> str:
    """When it was taken, in its batch's zone, with the offset."""
    at = datetime.fromisoformat(row["moment"].local)
    return f"{day_and_time(at)} UTC{offset_of(at)}"
