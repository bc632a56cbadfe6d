"""Rows of a calibration as its addresses give them, in the reader's language, and what is wanted next."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

from calibration.liquids.warmth import odd_warmth
from service.log.calibrations import drafts, runs
from service.web.calibrating.models import CalibrationOut, PhotoOut, ResultOut, RunOut
from stripread.words import SOURCE, _, _n, spoken
from stripread.words.retold import retold

_LIQUIDS = 5  # pH values of a good profile, each photographed twice


def draft_out(row: drafts.Row) -> CalibrationOut:
    """A draft without its details."""
    return CalibrationOut(**{key: row[key] for key in CalibrationOut.model_fields})


def photo_out(row: drafts.Row) -> PhotoOut:
    """A photo of a draft."""
    return PhotoOut(
        sha256=row["photo_sha256"],
        colours=row["seen"].get("colours", []),
        **{key: row[key] for key in ("id", "file", "liquid", "temperature_c", "ph", "ph_sd", "light", "added_at")},
    )


def run_out(progress: Callable[[int], dict[str, Any] | None], row: runs.Row) -> RunOut:
    """A run; ``progress`` tells how far one is that is under way."""
    running = row["state"] == "running"
    why = row["found"].get("why")
    return RunOut(
        progress=progress(row["id"]) if running else None,
        why=None if why is None else retold(why),
        **{key: row[key] for key in ("id", "state", "begun_at", "ended_at", "photos")},
    )


def result_out(row: runs.Row, photos: list[int]) -> ResultOut:
    """A run that led to a profile; ``photos``: the numbers of those that are in the draft now."""
    words = row["found"]["words"]
    said = words.get(spoken()) or words[SOURCE]
    return ResultOut(
        run=row["id"],
        profile_sha256=row["profile_sha256"],
        stale=row["photos"] != photos,
        verdict=row["found"]["evidence"]["verdict"],
        evidence=row["found"]["evidence"],
        **said,
    )


def wanted(draft: drafts.Row, photos: list[drafts.Row], result: ResultOut | None) -> list[str]:
    """What to do next: at first enough liquids, each twice; then what the curve says."""
    low, high = draft["kind"]["range"]
    counts: dict[float, int] = {}
    for row in photos:
        counts[row["ph"]] = counts.get(row["ph"], 0) + 1
    out = []
    if len(counts) < _LIQUIDS:
        more = _LIQUIDS - len(counts)
        ends = [low, *sorted(counts), high]
        gap = max(range(len(ends) - 1), key=lambda i: ends[i + 1] - ends[i])
        out.append(
            _n(
                "{n} more liquid of known pH, best near pH {ph:.0f}",
                "{n} more liquids of known pH, the next best near pH {ph:.0f}",
                more,
                ph=(ends[gap] + ends[gap + 1]) / 2,
            )
        )
    for row in photos:
        if counts.get(row["ph"], 0) == 1 and len(out) < 4:
            out.append(_("another photo of {liquid}, in different light", liquid=row["liquid"]))
    if result is not None:
        if result.stale:
            out.append(_("work out the curve again: the photos were changed since"))
        out = result.mixed_up + out + result.would_help
    elif len(counts) >= _LIQUIDS:
        out.append(_("work out the curve"))
    return odd_warmth([(row["file"], row["liquid"], row["temperature_c"]) for row in photos]) + out
