"""The library's face: photos in, results out. What the commands do, for those who write Python.

A photo that can't be read is no exception but a refused result, with the reason and what to do. ``CallError`` is raised
where the call itself was wrong: one sentence that says what to give.
"""

from __future__ import annotations

import os
from collections.abc import Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from stripread.arguments import (
    AnyPath,
    Dipped,
    OpenedPhoto,
    Photo,
    PhotoAgain,
    check_words,
    circumstances_of,
    kind_of,
    number_of,
    opened,
    path_of,
    region_of,
)
from stripread.card.layout import CardLayout, layout
from stripread.describe.along import MOST_PADS
from stripread.describe.read import trace_description
from stripread.errors import CallError
from stripread.ph.circumstances import Circumstances, with_circumstances
from stripread.ph.combined_reading import CombinedReading, ObservedPhoto, observed_photo
from stripread.ph.combined_reading import combine as combine_observed
from stripread.ph.profile import Profile
from stripread.ph.profile import load_profile as profile_of
from stripread.ph.read import PhTrace, trace_ph
from stripread.printed.judge import judge_card as judged_card
from stripread.solid.read import trace_solid
from stripread.tint.conditions import Answer, TintConditions, Wash, Water
from stripread.tint.profile import TintProfile, default_response, load_tint_profile
from stripread.tint.read import TintRequest, measure_cells, trace_tint
from stripread.words import _

if TYPE_CHECKING:
    from stripread.describe.result import StripDescription
    from stripread.photo import Source
    from stripread.printed.result import CardJudgement
    from stripread.results import PhReading, SolidReading, TintReading
    from stripread.tint.cells import SecondPhoto


def read_ph(
    photo: Photo,
    profile: AnyPath | Profile,
    *,
    dipped_at: Dipped | None = None,
    waited_s: float | None = None,
    temperature_c: float | None = None,
    rinse: bool = False,
    beside: str | float | None = None,
    name: str | None = None,
) -> PhReading:
    """Read the pH of a strip on the card.

    Parameters
    ----------
    photo
        A path, a file's bytes, or an upright sRGB picture (H, W, 3) uint8. An array has no EXIF: it is taken to stand
        upright, and when it was taken is not known. Its ``sha256`` is over the ASCII line ``RGB uint8 H W``, a line
        feed, and its pixels row by row.
    profile
        What ``stripread calibrate`` wrote: its path, or what ``load_profile`` gave.
    dipped_at, waited_s
        When the strip was dipped, by the phone's clock (``"10:04:30"``, a ``time`` or ``datetime``), or how many
        seconds before the photo. One of the two.
    temperature_c
        Temperature of the sample when dipped, °C.
    rinse
        The liquid is rinse water: doubt it where it has no buffer.
    beside
        What the lower of two strips in the lane was dipped in, to compare the upper one with: a pH (``7.0``), a buffer
        and its temperature (``"phosphate 22 C"``), or ``"water"`` for rinse water of unknown pH.
    name
        The photo's name in the result: else its path, ``"bytes"`` or ``"array"``.

    Returns
    -------
    PhReading
        Refused, with a reason, where the photo can't be read. It keeps hold of the photo, a path or what was given, to
        draw its picture when asked to; a pickled one does not.

    Raises
    ------
    CallError
        If a file is missing, the profile broken, or an argument is none of these.
    """
    learned = load_profile(profile)
    given = circumstances_of(dipped_at, waited_s, temperature_c, rinse=rinse, beside=beside)
    source = opened(photo, name)
    reading = _read_ph(source.data, source.name, learned, given).reading
    assert reading is not None
    return reading.drawn_by(partial(_draw_ph, source.again(reading), learned, given))


def read_tint(
    photo: Photo,
    *,
    path_mm: float | None = None,
    standards: AnyPath | TintProfile | None = None,
    wash: Wash = "unknown",
    water: Water = "unknown",
    ammonia_excess: Answer = "unknown",
    ammonia_ph: float | None = None,
    flakes: Answer = "unknown",
    retained_ml: float | None = None,
    silver_g: float | None = None,
    dilution: float | None = None,
    cell_blank: Photo | None = None,
    swapped: Photo | None = None,
    name: str | None = None,
) -> TintReading:
    """Look for copper's ammonia blue in a sample vial beside its blank.

    Parameters
    ----------
    photo, name
        As for ``read_ph``: a path, bytes, or (H, W, 3) uint8.
    path_mm
        Depth of the liquid, mm, the same in both vials. Without it there is no concentration.
    standards
        What ``stripread calibrate-tint`` wrote; without it a textbook absorptivity.
    wash, water, ammonia_excess, flakes
        How the test was made: "acid" or "neutral"; "soft" or "hard"; did it smell of ammonia, do pale flakes float in
        it, "yes" or "no"; else "unknown".
    ammonia_ph
        A strip's pH on the drop after the ammonia: 9.5 or more shows it in excess.
    retained_ml, silver_g
        Liquid left with the solid, mL, and mass of the silver, g: what the reading means for the metal.
    dilution
        Volume after acid and ammonia over the sample's own.
    cell_blank, swapped
        A second photo that measures the pair of vials: both with the same blank in the same windows, or the same
        liquids with the vials exchanged. One of the two.

    Returns
    -------
    TintReading
        Refused, with a reason and the cautions, where the photo can't be read.

    Raises
    ------
    CallError
        As ``read_ph``, and for a number out of bounds or an unknown word.
    """
    response = default_response() if standards is None else standards
    if not isinstance(response, TintProfile):
        response = load_tint_profile(path_of(response, "standards"))
    check_words(wash, water, ammonia_excess, flakes)
    request = TintRequest(
        number_of("path_mm", path_mm),
        response,
        TintConditions(wash, water, ammonia_excess, number_of("ammonia_ph", ammonia_ph), flakes),
        number_of("retained_ml", retained_ml),
        number_of("silver_g", silver_g),
        number_of("dilution", dilution),
        _second_photo(cell_blank, swapped),
    )
    source = opened(photo, name)
    reading = trace_tint(source.data, request, source.name).reading
    assert reading is not None
    return reading.drawn_by(partial(_draw_tint, source.again(reading), request))


def _second_photo(cell_blank: Photo | None, swapped: Photo | None) -> SecondPhoto | None:
    """The photo that measures the pair of vials, where one was given."""
    if cell_blank is not None and swapped is not None:
        raise CallError(_("give cell_blank or swapped, not both: the cell blank takes out more"))
    if cell_blank is not None:
        return measure_cells(opened(cell_blank, None).data, "blank")
    return None if swapped is None else measure_cells(opened(swapped, None).data, "swapped")


def read_solid(
    photo: Photo, *, region_mm: tuple[float, float, float, float] | None = None, name: str | None = None
) -> SolidReading:
    """Read the colour and the pale share of a solid.

    Parameters
    ----------
    photo, name
        As for ``read_ph``: a path, bytes, or (H, W, 3) uint8.
    region_mm
        Where the solid lies: x, y, width, height in mm on the card; else in the sample window.

    Returns
    -------
    SolidReading
        Refused, with a reason, where the photo can't be read.

    Raises
    ------
    CallError
        As ``read_ph``, and for a region that is not four numbers with a width and a height.
    """
    region = None if region_mm is None else region_of(region_mm)
    source = opened(photo, name)
    reading = trace_solid(source.data, source.name, region).reading
    assert reading is not None
    return reading.drawn_by(partial(_draw_solid, source.again(reading), region))


def judge_card(photo: Photo, *, measured_mm: float | None = None, name: str | None = None) -> CardJudgement:
    """Say whether a printed card, nothing laid on it, is good enough to work with.

    Parameters
    ----------
    photo, name
        As for ``read_ph``: a path, bytes, or (H, W, 3) uint8.
    measured_mm
        Length of the sheet's scale bar by a ruler, mm.

    Returns
    -------
    CardJudgement
        With ``verdict`` and ``checks``; refused, with a reason, where the photo can't be judged.

    Raises
    ------
    CallError
        As ``read_ph``, and for a length that the bar can't have.
    """
    length = number_of("measured_mm", measured_mm)
    source = opened(photo, name)
    return judged_card(source.data, source.name, length)


def describe_strip(photo: Photo, *, pads: int | None = None, name: str | None = None) -> StripDescription:
    """Measure an unused strip that lies in the card's lane, dipped end left, whose kind nobody has written down.

    Parameters
    ----------
    photo, name
        As for ``read_ph``: a path, bytes, or (H, W, 3) uint8.
    pads
        How many pads it has, where somebody has counted: a pad as pale as the carrier is then missed aloud.

    Returns
    -------
    StripDescription
        Outline and pads with their doubts; ``kind`` makes a strip kind of it. Refused, with a reason, where no strip
        is found.

    Raises
    ------
    CallError
        As ``read_ph``.
    """
    source = opened(photo, name)
    if pads is not None and not (isinstance(pads, int) and 1 <= pads <= MOST_PADS):
        raise CallError(_("pads has to be a whole number from 1 to {most}", most=MOST_PADS))
    described = trace_description(source.data, source.name, pads).description
    assert described is not None
    return described.drawn_by(partial(_draw_described, source.again(described)))


def combine(
    photos: Sequence[Photo],
    profile: AnyPath | Profile,
    *,
    same_strip: bool = True,
    dipped_at: Dipped | None = None,
    waited_s: float | None = None,
    temperature_c: float | None = None,
    rinse: bool = False,
    name: str = "combined",
) -> CombinedReading:
    """Read photos of one liquid together; what they share does not average away.

    Parameters
    ----------
    photos
        One or more, each a path, bytes, or (H, W, 3) uint8. What is no path is named by its place: ``"array 2"``.
    profile, dipped_at, waited_s, temperature_c, rinse
        As for ``read_ph``; they go for every photo.
    same_strip
        One strip photographed again; else every strip is another one, dipped in the same liquid.
    name
        Stands for the photo's name in the result.

    Returns
    -------
    CombinedReading
        With ``reading``, the pH; ``parts``, what each photo put into it; ``agreement``. Refused where no photo can be
        read.

    Raises
    ------
    CallError
        As ``read_ph``, and when there are no photos.
    """
    if isinstance(photos, (str, bytes, os.PathLike, np.ndarray)) or not isinstance(photos, Sequence):
        raise CallError(_("combine takes a list of photos, not {photos}", photos=kind_of(photos)))
    if not photos:
        raise CallError(_("combine: give at least one photo"))
    learned = load_profile(profile)
    given = circumstances_of(dipped_at, waited_s, temperature_c, rinse=rinse)
    sources = [opened(photo, None, n + 1) for n, photo in enumerate(photos)]
    return combine_observed(
        [_observed(source, learned, given) for source in sources], learned, same_strip=same_strip, name=name
    )


def load_profile(path: AnyPath | Profile) -> Profile:
    """Load a strip's profile, so that it is read once for many photos; one that is loaded comes back as it is.

    Raises
    ------
    CallError
        If it is missing, broken, or no profile.
    """
    return path if isinstance(path, Profile) else profile_of(path_of(path, "profile"))


def card_layout() -> CardLayout:
    """Return where everything lies on the printed card, in mm from its top left corner, x to the right, y down."""
    return layout()


def _read_ph(data: Source, name: str, profile: Profile, given: Circumstances) -> PhTrace:
    """The photo read, its reading with what was given beside it."""
    trace = trace_ph(data, profile, name, given.beside)
    assert trace.reading is not None
    trace.reading = with_circumstances(trace.reading, profile.kind, given)
    return trace


def _observed(source: OpenedPhoto, profile: Profile, given: Circumstances) -> ObservedPhoto:
    """The photo read, and what of it a joint reading needs."""
    return observed_photo(_read_ph(source.data, source.name, profile, given))


def _draw_ph(photo: PhotoAgain, profile: Profile, given: Circumstances) -> bytes | None:
    from stripread.picture.of_ph import ph_picture  # noqa: PLC0415 - matplotlib, only for a picture

    data = photo.data()
    return None if data is None else ph_picture(_read_ph(data, photo.name, profile, given), profile)


def _draw_tint(photo: PhotoAgain, request: TintRequest) -> bytes | None:
    from stripread.picture.of_windows import tint_picture  # noqa: PLC0415

    data = photo.data()
    return None if data is None else tint_picture(trace_tint(data, request, photo.name))


def _draw_solid(photo: PhotoAgain, region: tuple[float, float, float, float] | None) -> bytes | None:
    from stripread.picture.of_windows import solid_picture  # noqa: PLC0415

    data = photo.data()
    return None if data is None else solid_picture(trace_solid(data, photo.name, region))


def _draw_described(photo: PhotoAgain) -> bytes | None:
    from stripread.picture.of_described import described_picture  # noqa: PLC0415

    data = photo.data()
    return None if data is None else described_picture(trace_description(data, photo.name))
