"""What the files of strip kinds and profiles hold: one definition for reading and for writing, finite and bounded.

Bounds are wide enough for anything printed, dipped or photographed, and narrow enough that no later step can overflow.
"""

from __future__ import annotations

import math
from typing import Annotated, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from stripread.words import _

Name = Annotated[str, Field(min_length=1, max_length=200)]
Text = Annotated[str, Field(max_length=2_000)]
PhoneName = Annotated[str, Field(min_length=1, max_length=600)]  # make, model, lens, focal length, by EXIF
Share = Annotated[float, Field(ge=0.005, le=1.0, allow_inf_nan=False)]
Mixing = Annotated[float, Field(ge=-100.0, le=100.0, allow_inf_nan=False)]  # of a matrix whose rows add up to 1
Table = Annotated[str, Field(max_length=1_500_000)]
Ph = Annotated[float, Field(ge=-1.0, le=15.0, allow_inf_nan=False)]
Length = Annotated[float, Field(gt=0.0, le=500.0, allow_inf_nan=False)]  # mm
Seconds = Annotated[float, Field(ge=0.0, le=86_400.0, allow_inf_nan=False)]
Deviation = Annotated[float, Field(ge=0.0, le=100.0, allow_inf_nan=False)]  # CIELAB, pH or a share: never more


def _known(value: float) -> float:
    if math.isinf(value) or abs(value) > 1e6:
        raise ValueError(_("must be a number up to a million, or nan where there is none"))
    return value


Statistic = Annotated[float, AfterValidator(_known)]  # NaN where there is none: TOML has it


class _File(BaseModel):
    """Strict: a yes is no number, "3" is no 3. What else stands in a file is left alone."""

    model_config = ConfigDict(strict=True, extra="ignore", frozen=True)


class PadFile(_File):
    """One pad of a strip kind, mm from the dipped end."""

    offset_mm: Annotated[float, Field(ge=0.0, le=500.0, allow_inf_nan=False)]
    length_mm: Length


class StripKindFile(_File):
    """A strip kind's TOML file."""

    name: Name
    width_mm: Annotated[float, Field(gt=0.0, le=100.0, allow_inf_nan=False)]
    length_mm: Length
    pads: Annotated[list[PadFile], Field(min_length=1, max_length=24)]
    range: Annotated[list[Ph], Field(min_length=2, max_length=2)]
    read_after_s: Annotated[list[Seconds], Field(min_length=2, max_length=2)] | None = None


class FitFile(_File):
    """How a profile was fitted, and how well it holds."""

    model: Name
    why: Text
    points: Annotated[int, Field(ge=0, le=100_000)]
    photos: Annotated[int, Field(ge=0, le=100_000)]
    loo_rms_ph: Statistic
    loo_mean_ph: Statistic
    loo_worst_ph: Statistic
    loo_coverage: Statistic
    chi_square: Statistic
    exchanged: Annotated[int, Field(ge=0, le=1000)] = 0


class ScatterFile(_File):
    """How strips scatter, CIELAB: what pads of one strip share, and each pad's own."""

    common: Annotated[list[Deviation], Field(min_length=3, max_length=3)]
    own: Annotated[list[Deviation], Field(min_length=3, max_length=3)]


class LotFile(_File):
    """How bottles differ: pH, relative dye load, L*, share of light that comes through (older files don't say)."""

    shift: Deviation
    load: Deviation
    lightness: Deviation
    through: Deviation | None = None


class KnownPhotoFile(_File):
    """A photo that the profile was made from; one of the maker's chart is of no one pH."""

    file: Text
    sha256: Annotated[str, Field(max_length=64)]
    ph: Ph | None = None
    ph_sd: Annotated[float, Field(ge=0.0, le=14.0)] | None = None
    phone: PhoneName | None = None
    light: Annotated[list[Mixing], Field(max_length=6)] = []


class KnownPhoneFile(_File):
    """A phone that took several of a profile's photos, and its shares of a stranger's variance and of the curve's."""

    phone: PhoneName
    photos: Annotated[int, Field(ge=1, le=10_000)]
    share: Share
    curve: Share


class CurveFile(_File):
    """The curve's tables as text; their lines are checked where they are taken apart."""

    lab: Table
    cov_factor: Table


class CardFile(_File):
    """The card's patches as the profile knows them."""

    version: Name
    source: Literal["none", "nominal", "estimated", "measured"]
    patches: Table = ""


class ProfileFile(_File):
    """A profile's TOML file; its strip kind is a ``StripKindFile``."""

    format: Annotated[int, Field(ge=1, le=1_000)]
    name: Name
    software: Text
    made: Text
    evidence: Literal["buffers", "chart and buffers", "chart only"]
    fit: FitFile
    scatter: ScatterFile
    lot: LotFile
    photos: Annotated[list[KnownPhotoFile], Field(max_length=10_000)]
    phones: Annotated[list[KnownPhoneFile], Field(max_length=1_000)] = []  # older files don't say
    card: CardFile
    curve: CurveFile


class TintResponseFile(_File):
    """Absorbance of 1 mg/L of copper over 1 mm, and its deviations (relative; of blanks: absorbance)."""

    absorbance_per_mg_l_mm: Annotated[float, Field(gt=0.0, le=1.0, allow_inf_nan=False)]
    relative_sd: Deviation
    repeat_relative_sd: Deviation
    blank_sd: Deviation


class TintProfileFile(_File):
    """A tint profile's TOML file."""

    format: Annotated[int, Field(ge=1, le=1_000)]
    cameras: Annotated[list[Text], Field(max_length=1_000)] = []
    response: TintResponseFile
