"""Corrections: a new entry made from an old one and what somebody says was wrong with it."""

from __future__ import annotations

from service.log.store import NewEntry, Row
from service.web.problems import ServiceProblem
from service.web.schemas import Correction
from stripread.reasons import because


def corrected_entry(old: Row, said: Correction, photo_size: int, profile: tuple[str, str] | None) -> NewEntry:
    """The entry that corrects ``old``.

    Raises
    ------
    ServiceProblem
        422 when the correction changes nothing, or a pH comes without a matching interval or for another kind.
    """
    reading = dict(old["reading"])
    extras = dict(old["extras"])
    if said.ph is not None or said.interval is not None:
        if (
            old["kind"] != "ph"
            or said.ph is None
            or said.interval is None
            or not said.interval[0] <= said.ph <= said.interval[1]
        ):
            raise ServiceProblem(
                422, "bad_correction", "A pH by hand needs `ph` and an `interval` around it, on a pH reading."
            )
        note = because("by_hand", said.by)
        reading |= {
            "status": "ok",
            "ph": said.ph,
            "interval": list(said.interval),
            "alternatives": [],
            "misfit": None,
            "reasons": [{"code": note.code, "severity": note.severity, "message": note.message}],
        }
        extras["by_hand"] = True
    if said.withdraw:
        extras["withdrawn"] = True
    changed = said.withdraw or said.ph is not None or said.wash is not None or said.note is not None
    if not changed:
        raise ServiceProblem(422, "bad_correction", "Say what to correct: wash, note, ph with interval, or withdraw.")
    return NewEntry(
        batch_id=old["batch_id"],
        kind=old["kind"],
        origin="correction",
        photo_sha256=old["photo_sha256"],
        photo_size=photo_size,
        reading=reading,
        wash=old["wash"] if said.wash is None else said.wash,
        note=old["note"] if said.note is None else said.note,
        snapped_at=old["snapped_at"],
        profile=profile,
        extras=extras,
        corrects_id=old["id"],
        made_by=said.by,
        why=said.why,
    )
