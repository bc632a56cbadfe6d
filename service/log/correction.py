"""Corrections: a new entry made from an old one and what somebody says was wrong with it."""

from __future__ import annotations

from typing import Annotated

from pydantic import BaseModel, ConfigDict, Field

from service.errors import WrongStatement
from service.log.fields import PhInterval, Text, TypedPh, Wash
from service.log.store import NewEntry, Row
from stripread.reasons import because
from stripread.words import SOURCE, _, speaking


class Correction(BaseModel):
    """A correction: a new entry that names the old one. Give what changes."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [
                {"by": "M.", "why": "it was the third wash", "wash": 3},
                {"by": "M.", "why": "wrong beaker", "withdraw": True},
            ]
        }
    )
    by: Annotated[Text, Field(max_length=100)] = ""
    why: Annotated[Text, Field(min_length=1, max_length=500)]
    wash: Wash | None = None
    note: Annotated[Text, Field(max_length=2000)] | None = None
    ph: TypedPh | None = Field(None, description="A pH found in another way, with `interval`.")
    interval: PhInterval | None = None
    withdraw: bool = False
    confirm: bool = Field(False, description="It counts as it is: the answer to what is asked about it.")
    undo: bool = Field(False, description="Takes back what the entry last had done to it: it says what it said before.")


def corrected_entry(
    old: Row, correction: Correction, photo_size: int, profile: tuple[str, str] | None, before: Row | None = None
) -> NewEntry:
    """The entry that corrects ``old``; ``before`` is the one that ``old`` corrects, to undo what was done.

    Raises
    ------
    WrongStatement
        When the correction changes nothing, or a pH comes without a matching interval or for another kind.
    """
    reading = dict(old["reading"])
    extras = dict(old["extras"])
    if correction.ph is not None or correction.interval is not None:
        if (
            old["kind"] != "ph"
            or correction.ph is None
            or correction.interval is None
            or not correction.interval[0] <= correction.ph <= correction.interval[1]
        ):
            raise WrongStatement(
                "bad_correction", _("A pH by hand needs `ph` and an `interval` around it, on a pH reading.")
            )
        with speaking(SOURCE):  # kept in the log, which speaks one language
            note = because("by_hand", correction.by or "somebody")
        reading |= {
            "status": "ok",
            "ph": correction.ph,
            "interval": list(correction.interval),
            "alternatives": [],
            "misfit": None,
            "reasons": [{"code": note.code, "severity": note.severity, "message": note.message}],
        }
        extras["by_hand"] = True
    said = (correction.ph, correction.wash, correction.note)
    changes = any(value is not None for value in said) or correction.withdraw
    if correction.undo:
        if changes or correction.confirm:
            raise WrongStatement("bad_correction", _("To undo is all that one correction says: leave the rest out."))
        if before is None or before.get("unreadable"):
            raise WrongStatement("bad_correction", _("Nothing was done to this entry that could be undone."))
        old, reading, extras = {**before, "id": old["id"]}, dict(before["reading"]), dict(before["extras"])
    elif not changes and not (correction.confirm and extras.get("asked")):
        raise WrongStatement(
            "bad_correction",
            _("Say what to correct: wash, note, ph with interval, withdraw, undo; or confirm what is asked."),
        )
    if correction.withdraw:
        extras["withdrawn"] = True
    if correction.confirm or correction.withdraw or correction.ph is not None:
        answered = [question["code"] for question in extras.pop("asked", [])]
        if answered and not correction.withdraw:
            extras["confirmed"] = answered
    return NewEntry(
        batch_id=old["batch_id"],
        kind=old["kind"],
        origin="correction",
        photo_sha256=old["photo_sha256"],
        photo_size=photo_size,
        reading=reading,
        wash=old["wash"] if correction.wash is None else correction.wash,
        note=old["note"] if correction.note is None else correction.note,
        snapped_at=old["snapped_at"],
        profile=profile,
        extras=extras,
        corrects_id=old["id"],
        made_by=correction.by or None,
        why=correction.why,
    )
