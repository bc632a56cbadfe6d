"""Several photos of one liquid as one reading: which take part, what is doubted, and the JSON.

A refused photo is left out and named; a file sent twice counts once.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from stripread.errors import Refused
from stripread.ph.joint_posterior import DISAGREE, Agreement, JointPosterior, infer_joint
from stripread.ph.observation import StripObservation, observe_strip
from stripread.ph.read import PhTrace, reading_of, strip_reading
from stripread.ph.remembered.read_known import with_known_curve
from stripread.ph.verdicts import NEAR_OFF_CURVE, doubts_of_estimate
from stripread.reasons import Reason, because
from stripread.results import SOFTWARE, PadColour, PhReading, Shown, Stamp
from stripread.words import _

if TYPE_CHECKING:
    from stripread.ph.profile import Profile

# Doubts that are judged anew from the mean: one photo's are not the mean's
ESTIMATED = frozenset({"near_off_curve", "ambiguous", "wide_interval", "end_of_range"})
COLOURS_APART = NEAR_OFF_CURVE  # as far as one photo may lie off the curve undoubted


@dataclass(frozen=True)
class ObservedPhoto:
    """A photo read, and an observation at each strip in it that has a value."""

    reading: PhReading
    observations: tuple[StripObservation, ...]


def observed_photo(trace: PhTrace) -> ObservedPhoto:
    """The photo's reading with an observation at each strip that has a value."""
    assert trace.reading is not None
    stamp = trace.reading.stamp
    observations = [
        observe_strip(stamp.photo, stamp.sha256, strip.pads, strip.samples, trace.fix)
        for strip in trace.strips
        if strip.estimate is not None and strip.pads is not None and strip.samples is not None and trace.fix is not None
    ]
    return ObservedPhoto(trace.reading, tuple(observations))


@dataclass(frozen=True)
class Part:
    """What one photo's strip put into a combined reading. weight: its share in the value, 0 where it was left out."""

    reading: PhReading
    strip: int
    weight: float

    def to_dict(self) -> dict[str, Any]:
        """The part as JSON: the value is that of the strip alone."""
        strips = self.reading.strips
        alone = (strips[self.strip] if strips else self.reading.own()).to_dict()
        value = {key: alone[key] for key in ("status", "ph", "interval", "reasons")}
        stamp = self.reading.stamp
        return {
            "photo": stamp.photo,
            "sha256": stamp.sha256,
            "strip": self.strip,
            **value,
            "used": self.weight != 0.0,
            "weight": round(self.weight, 3),
        }


@dataclass(frozen=True)
class CombinedReading(Shown):
    """A pH reading from several photos, as JSON a reading with what it was combined from beside it."""

    reading: PhReading
    parts: tuple[Part, ...]
    same_strip: bool
    agreement: Agreement | None

    def __repr__(self) -> str:
        value = repr(self.reading).removeprefix("<PhReading ").removesuffix(">")
        return f"<CombinedReading {value}, of {len(self.parts)} photos>"

    def to_dict(self) -> dict[str, Any]:
        """The reading's JSON object with ``combined_from`` and ``agreement``."""
        fit = self.agreement
        agreement = None
        if fit is not None and fit.freedom:
            agreement = {
                "chi_square": round(fit.chi_square, 3),
                "freedom": fit.freedom,
                "chance": float(f"{fit.chance:.3g}"),
            }
        return {
            **self.reading.to_dict(),
            "combined_from": [part.to_dict() for part in self.parts],
            "same_strip": self.same_strip,
            "agreement": agreement,
        }


def combine(
    photos: Sequence[ObservedPhoto], profile: Profile, *, same_strip: bool, name: str = "combined"
) -> CombinedReading:
    """Combine the readings of photos of one liquid.

    Parameters
    ----------
    photos
        The photos as read.
    same_strip
        They show one strip, photographed again; else each strip is another one and all strips of a photo count.
    name
        Stands for the photo's name in the result.
    """
    reasons: list[Reason] = []
    used: list[tuple[PhReading, int, StripObservation]] = []
    left_out: list[PhReading] = []
    hashes: set[str] = set()
    for photo in photos:
        sha = photo.reading.stamp.sha256
        if sha in hashes:
            reasons.append(because("sent_twice", photo.reading.stamp.photo))
            continue
        hashes.add(sha)
        strips = [(n, observation) for n, observation in _with_place(photo) if n == 0 or not same_strip]
        if not strips:
            left_out.append(photo.reading)
        used += [(photo.reading, n, observation) for n, observation in strips]
        if same_strip and len(photo.reading.strips) > 1:
            reasons.append(because("other_strips", photo.reading.stamp.photo))
    if left_out:
        names = ", ".join(f"{r.stamp.photo}: {_refusal_code(r)}" for r in left_out)
        reasons.append(
            because(
                "left_out",
                _("{n_left_out} of {n_hashes}; {names}", n_left_out=len(left_out), n_hashes=len(hashes), names=names),
            )
        )
    seconds = sum(photo.reading.stamp.seconds for photo in photos)
    stamp = Stamp(name, _fingerprint(hashes), SOFTWARE, seconds, _first_time(photos))
    parts = [Part(reading, 0, 0.0) for reading in left_out]
    if not used:
        return _refused(stamp, profile, [because("none_left"), *reasons], parts, same_strip=same_strip)
    learned = _learned_of([reading for reading, _, _ in used], profile)
    joint = infer_joint([observation for _, _, observation in used], learned, same_strip=same_strip)
    reasons = _doubts_of_photos(used) + reasons + _doubts_of(joint)
    parts = [Part(r, n, float(w)) for (r, n, _), w in zip(used, joint.weights, strict=True)] + parts
    try:
        reasons += doubts_of_estimate(joint.estimate, profile)
    except Refused as refused:
        return _refused(stamp, profile, [refused.reason, *reasons], parts, same_strip=same_strip)
    value = strip_reading(joint.estimate, profile, _colours(joint), reasons)
    reading = reading_of(stamp, profile, value, ())
    return CombinedReading(reading, tuple(parts), same_strip, joint.agreement)


def _learned_of(readings: Sequence[PhReading], profile: Profile) -> Profile:
    """The profile, its curve as sure as a known phone makes it where every photo is by that one phone."""
    first = readings[0].taken_by
    return with_known_curve(profile, first) if all(r.taken_by.curve == first.curve for r in readings) else profile


def _with_place(photo: ObservedPhoto) -> list[tuple[int, StripObservation]]:
    """The observations with the number of their strip: those of strips that have a value, in their order."""
    strips = photo.reading.strips
    places = [n for n, strip in enumerate(strips) if strip.ph is not None]
    return list(zip(places, photo.observations, strict=True))


def _doubts_of_photos(used: list[tuple[PhReading, int, StripObservation]]) -> list[Reason]:
    """Doubts that a photo carries into the mean, each once, with the photo named."""
    found: dict[str, Reason] = {}
    for reading, number, _unused in used:
        for reason in reading.strips[number].reasons:
            if reason.severity == "doubt" and reason.code not in ESTIMATED and reason.code not in found:
                found[reason.code] = replace(reason, message=f"{reading.stamp.photo}: {reason.message}")
    return list(found.values())


def _doubts_of(joint: JointPosterior) -> list[Reason]:
    fit = joint.agreement
    if not fit.freedom or (fit.chance >= DISAGREE and fit.colours <= COLOURS_APART):
        return []
    if fit.chance >= DISAGREE:
        return [
            because(
                "photos_disagree", _("their colours lie {colours:.1f} standard deviations apart", colours=fit.colours)
            )
        ]
    misfit = _(
        "chi-square {chi_square:.1f} with {freedom} degrees of freedom", chi_square=fit.chi_square, freedom=fit.freedom
    )
    return [because("photos_disagree", misfit)]


def _refused(
    stamp: Stamp, profile: Profile, reasons: list[Reason], parts: list[Part], *, same_strip: bool
) -> CombinedReading:
    reading = PhReading(stamp, None, None, reasons=tuple(reasons), profile=profile.name)
    return CombinedReading(reading, tuple(parts), same_strip, None)


def _colours(joint: JointPosterior) -> tuple[PadColour, ...]:
    """The mean colours. They lie in no one photo, so there are no corners."""
    return tuple(
        PadColour((float(v[0]), float(v[1]), float(v[2])), (float(s[0]), float(s[1]), float(s[2])), ())
        for v, s in zip(joint.pads.lab, joint.pads.sd, strict=True)
    )


def _fingerprint(shas: set[str]) -> str:
    """SHA-256 over the photos' own, sorted: the same photos in any order have the same."""
    return hashlib.sha256("".join(sorted(shas)).encode()).hexdigest()


def _first_time(photos: Sequence[ObservedPhoto]) -> str | None:
    times = sorted(t for t in (photo.reading.stamp.taken_at for photo in photos) if t)
    return times[0] if times else None


def _refusal_code(reading: PhReading) -> str:
    """Code of what refused the photo."""
    return next((reason.code for reason in reading.reasons if reason.severity == "refuse"), "refused")
