"""What a worker process does for calibrations: nothing of the web or the database."""

from __future__ import annotations

import json
import os
import secrets
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, Any

from service.readers.worker import Job

if TYPE_CHECKING:
    from calibration.gather import LeftOutPhoto
    from calibration.learn import Learned
    from stripread.strip.measure import Measured

Row = dict[str, Any]


@dataclass(frozen=True)
class KnownFile:
    """A photo of a strip in a liquid: its file, its name as it was sent, pH and sd of the liquid, the liquid's name."""

    path: Path
    name: str
    ph: float
    ph_sd: float
    liquid: str = ""


@dataclass(frozen=True)
class LookJob(Job):
    """A photo to look at for a draft of this strip kind (its table)."""

    strip: Row = field(default_factory=dict)


@dataclass(frozen=True)
class LearnJob:
    """A profile to work out: strip kind, photos, fields of the chart; where the worker writes how far it is."""

    strip: Row
    photos: tuple[KnownFile, ...]
    chart: tuple[Row, ...]
    charts: dict[str, Path]  # SHA-256 of the chart's photos -> their files
    progress: Path
    languages: tuple[str, ...] = ("en",)


@dataclass(frozen=True)
class ControlJob:
    """Control photos to read with a profile, oldest first."""

    profile: Path
    photos: tuple[KnownFile, ...]


@dataclass(frozen=True)
class NextJob:
    """A profile's text, the keys of the liquids at hand, how warm they are (°C), and the reader's language."""

    profile: str
    at_hand: tuple[str, ...]
    temperature_c: float
    language: str


@dataclass(frozen=True)
class Seen:
    """What was found in a photo: why it can't be used (code and sentence), else the pads' screen colours."""

    refused: tuple[str, str] | None
    colours: tuple[str, ...] = ()
    taken_at: str | None = None
    at_mm: tuple[tuple[float, float], ...] = ()


@dataclass(frozen=True)
class Result:
    """A profile's text and name, and what goes beside it: its evidence, its report and advice by language."""

    text: str
    name: str
    found: Row


def look(_: Any, job: LookJob) -> Seen:  # noqa: ANN401 - what the worker was made with; not needed here
    """Measure a photo as a calibration will."""
    from calibration.advice.shown import hex_of  # noqa: PLC0415 - only workers load the decoders
    from calibration.gather import to_pads  # noqa: PLC0415
    from stripread.card.values import nominal_values  # noqa: PLC0415
    from stripread.errors import Refused  # noqa: PLC0415
    from stripread.kind import kind_from_dict  # noqa: PLC0415
    from stripread.strip.measure import measure  # noqa: PLC0415

    try:
        measured = measure(job.photo.read_bytes(), kind_from_dict(job.strip, job.name))
        pads = to_pads(measured, nominal_values())
    except Refused as refused:
        return Seen((refused.reason.code, refused.reason.message))
    return Seen(None, tuple(hex_of(lab) for lab in pads.lab), measured.taken_at)


def look_at_chart(_: Any, job: LookJob) -> Seen:  # noqa: ANN401
    """Where the fields of the maker's chart lie on the card of this photo, mm, if the card is found and they on it.

    The job's ``strip`` says where they are: ``at_mm``, on the card, or ``at_share``, in the photo.
    """
    import numpy as np  # noqa: PLC0415

    from stripread.errors import Refused  # noqa: PLC0415
    from stripread.strip.measure import measure_points, places_on_card  # noqa: PLC0415

    data = job.photo.read_bytes()
    try:
        shares = job.strip.get("at_share")
        at = np.array(job.strip["at_mm"]) if shares is None else places_on_card(data, np.array(shares))
        measure_points(data, at)
    except Refused as refused:
        return Seen((refused.reason.code, refused.reason.message))
    return Seen(None, at_mm=tuple((round(float(x), 2), round(float(y), 2)) for x, y in at))


def learn_job(_: Any, job: LearnJob) -> Result:  # noqa: ANN401
    """Work out a profile, as `stripread calibrate` does.

    Raises
    ------
    CallError
        When too few photos can be used.
    """
    from calibration.advice.shown import evidence  # noqa: PLC0415
    from calibration.learn import Material, learn_from  # noqa: PLC0415
    from calibration.strangers.suspicion import in_words  # noqa: PLC0415
    from calibration.tables import BufferRow, ChartSpot, Swatch  # noqa: PLC0415
    from stripread.kind import kind_from_dict  # noqa: PLC0415
    from stripread.ph.profile import profile_text  # noqa: PLC0415
    from stripread.words import SOURCE, speaking  # noqa: PLC0415

    kind = kind_from_dict(job.strip, "kind")
    rows = [BufferRow(p.path, p.name, p.ph, p.ph_sd, n) for n, p in enumerate(job.photos, 2)]
    spots = [
        ChartSpot(f["ph"], f["pad"], job.charts[f["sha256"]], f["file"], (f["x_mm"], f["y_mm"]), n)
        for n, f in enumerate(job.chart, 2)
        if "sha256" in f
    ]
    swatches = [Swatch(f["ph"], f["pad"], (f["L"], f["a"], f["b"])) for f in job.chart if "sha256" not in f]

    def measuring(jobs: list[Any], _: Any) -> list[Measured | LeftOutPhoto]:  # noqa: ANN401
        out = []
        for n, one in enumerate(jobs):
            _tell(job.progress, {"stage": "photos", "done": n, "of": len(jobs)})
            out.append(_measured(one, json.dumps(job.strip, sort_keys=True)))
        _tell(job.progress, {"stage": "curve", "done": len(jobs), "of": len(jobs)})
        return out

    with speaking(SOURCE):  # a profile is the same, whoever asked for it
        learned = learn_from(kind, Material(rows, spots or swatches), measuring)
    liquids = {row.path.name: photo.liquid for row, photo in zip(rows, job.photos, strict=True)}
    names = [liquids.get(k.photo_sha256) or f"pH {k.ph:g}" for k in learned.known]  # a photo's file is its SHA-256
    found: Row = {"evidence": evidence(learned), "words": {}}
    found["evidence"]["mixed_up"] = [
        {
            "way": one.way,
            "photos": [learned.known[i].photo_sha256 for i in one.photos],
            "said": list(one.said),
            "fits": list(one.fits),
            "chance": round(one.chance, 4),
        }
        for one in learned.suspected
    ]
    for language in job.languages:
        with speaking(language):
            mixed = [in_words(one, list(learned.known), names) for one in learned.suspected]
            found["words"][language] = _words(learned, mixed)
    return Result(profile_text(learned.profile), learned.profile.name, found)


def _words(learned: Learned, mixed: list[str]) -> Row:
    from calibration.report import report, suggestions  # noqa: PLC0415

    return {
        "report": report(learned.profile, learned.fit, list(learned.known), mixed),
        "would_help": suggestions(learned.profile),
        "mixed_up": mixed,
    }


@lru_cache(maxsize=400)
def _measured(job: Any, strip: str) -> Measured | LeftOutPhoto:  # noqa: ANN401 - a `gather.Job`, with a file of the log
    """A photo measured; a run with one photo more then takes only that one anew."""
    from calibration.gather import measure_one  # noqa: PLC0415
    from stripread.kind import kind_from_dict  # noqa: PLC0415

    return measure_one(job, kind_from_dict(json.loads(strip), "kind"))


def next_job(_: Any, job: NextJob) -> tuple[list[Row], str]:  # noqa: ANN401
    """What each liquid at hand would bring to a curve, the best first, and the advice in the language asked for.

    Raises
    ------
    CallError
        When the profile can't be read.
    """
    from calibration.liquids.next_best import gains, in_words  # noqa: PLC0415
    from stripread.ph.profile import profile_from_text  # noqa: PLC0415
    from stripread.words import speaking  # noqa: PLC0415

    profile = profile_from_text(job.profile, "profile")
    found = gains(profile, job.at_hand, job.temperature_c)
    with speaking(job.language):
        words = in_words(found, profile)
    return [
        {"key": g.key, "ph": round(g.ph, 2), "ph_sd": g.ph_sd, "now": round(g.now, 3), "then": round(g.then, 3)}
        for g in found
    ], words


def control_job(_: Any, job: ControlJob) -> tuple[Row, Row]:  # noqa: ANN401
    """Read control photos with a profile: the newest one's reading, and the check of all of them.

    Raises
    ------
    CallError
        When the profile can't be read.
    """
    from calibration.check import check, to_dict  # noqa: PLC0415
    from calibration.check_words import in_words  # noqa: PLC0415
    from calibration.tables import BufferRow  # noqa: PLC0415
    from stripread.ph.profile import load_profile  # noqa: PLC0415
    from stripread.ph.read import read_ph  # noqa: PLC0415

    profile = load_profile(job.profile)
    rows = [BufferRow(p.path, p.name, p.ph, p.ph_sd, n) for n, p in enumerate(job.photos, 2)]
    readings = [read_ph(p.path.read_bytes(), profile, p.name) for p in job.photos]
    found = check(rows, readings, profile)
    told = to_dict(found, profile.name)
    told["words"] = in_words(found, profile.name)
    return readings[-1].to_dict(), told


def check_text_job(_: Any, text: str) -> str:  # noqa: ANN401
    """The name of a profile that somebody sends, once it was read whole.

    Raises
    ------
    CallError
        When it is no profile.
    """
    from stripread.ph.profile import profile_from_text  # noqa: PLC0415

    return profile_from_text(text, "the file").name


def picture_job(_: Any, text: str) -> bytes:  # noqa: ANN401
    """The picture of a profile's curve (PNG)."""
    from calibration.advice.shown import picture  # noqa: PLC0415
    from stripread.ph.profile import profile_from_text  # noqa: PLC0415

    return picture(profile_from_text(text, "profile"))


def _tell(path: Path, how_far: Row) -> None:
    """Write down how far it is; nobody waits for it, so a full disk here is no reason to stop."""
    temporary = path.with_name(secrets.token_hex(8))
    try:
        temporary.write_text(json.dumps(how_far), encoding="utf-8")
        os.replace(temporary, path)
    except OSError:
        temporary.unlink(missing_ok=True)
