"""The wire models of calibrations and of profiles: what their addresses take and give."""

from __future__ import annotations

from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field

from service.bench.typed_fields import Typed
from service.log.fields import Id, Pair, Text

Ph = Annotated[float, Typed("ph")]
PhSd = Annotated[float, Field(ge=0.0, le=1.0)]
Warmth = Annotated[float, Typed("temp_c")]


class NewCalibration(BaseModel):
    """A draft to begin: for a strip kind by its measures, or for that of a profile that is there."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"name": "new bottle", "like_profile": 1}]})
    name: Annotated[Text, Field(min_length=1, max_length=200)]
    kind: dict[str, Any] | None = Field(
        None,
        description="As the strip kind's TOML file: name, width_mm, length_mm, pads, range, read_after_s.",
    )
    like_profile: Id | None = Field(None, description="Instead: the kind of this profile.")


class SentPhoto(BaseModel):
    """A photo that came in for a draft, as its key stands for it."""

    sha256: str
    file: str
    liquid: str
    ph: float
    ph_sd: float
    temperature_c: float | None
    light: str


class PhotoOut(BaseModel):
    """A photo of a draft."""

    id: int
    sha256: str
    file: str
    liquid: str
    temperature_c: float | None
    ph: float
    ph_sd: float
    light: str
    colours: list[str] = Field(description="Screen colours of the pads, from the dipped end, before the card is known.")
    added_at: str


class ChartField(BaseModel):
    """A field of the maker's chart: pH, pad (from 0, at the dipped end), and its CIELAB as printed or measured."""

    ph: Ph
    pad: Annotated[int, Field(ge=0, le=23)]
    L: Annotated[float, Field(ge=0.0, le=110.0)]
    a: Annotated[float, Field(ge=-200.0, le=200.0)]
    b: Annotated[float, Field(ge=-200.0, le=200.0)]


class ChartSpotIn(BaseModel):
    """A field of a chart photographed on the card: pH, pad, and where it lies on the card, mm."""

    ph: Ph
    pad: Annotated[int, Field(ge=0, le=23)]
    x_mm: Annotated[float, Field(ge=-50.0, le=300.0)]
    y_mm: Annotated[float, Field(ge=-50.0, le=300.0)]


class ChartPlaceIn(BaseModel):
    """A field of a photographed chart by its place in the photo: shares of the upright picture's width and height."""

    ph: Ph
    pad: Annotated[int, Field(ge=0, le=23)]
    across: Annotated[float, Field(ge=0.0, le=1.0)]
    down: Annotated[float, Field(ge=0.0, le=1.0)]


class ChartIn(BaseModel):
    """The maker's chart as numbers; an empty list takes it away."""

    fields: Annotated[list[ChartField], Field(max_length=1000)]


class SentChart(BaseModel):
    """A photo of the chart that came in, as its key stands for it."""

    sha256: str
    file: str
    spots: Annotated[list[ChartSpotIn | ChartPlaceIn], Field(min_length=1, max_length=1000)]


class RunOut(BaseModel):
    """A run: how far it is, or how it ended."""

    id: int
    state: Literal["running", "done", "failed", "cancelled"]
    begun_at: str
    ended_at: str | None
    photos: list[int]
    progress: dict[str, Any] | None = Field(None, description="While it runs: stage (photos, curve), done, of.")
    why: str | None = Field(None, description="Why it has no curve, in a sentence.")


class ResultOut(BaseModel):
    """What the newest run came to that led to a profile."""

    run: int
    profile_sha256: str
    stale: bool = Field(description="Photos were added or taken out since.")
    verdict: str = Field(examples=["good"], description="good, fair, poor or unproven.")
    report: str
    would_help: list[str]
    mixed_up: list[str] = Field(description="Photos that do not go with the others, and what to do.")
    evidence: dict[str, Any] = Field(description="Curve, left-out readings, and each photo beside the curve.")


class AtHand(BaseModel):
    """The liquids that somebody ticked."""

    liquids: Annotated[list[Annotated[str, Field(max_length=60)]], Field(min_length=1, max_length=100)]
    temperature_c: Warmth = 20.0


class Gain(BaseModel):
    """What two photos of a liquid would bring: the curve's mean doubt now and then, pH."""

    key: str
    ph: float
    ph_sd: float
    now: float
    then: float


class NextBest(BaseModel):
    """The liquids at hand, the most useful first, and what to do in a sentence."""

    advice: str
    gains: list[Gain]


class CalibrationOut(BaseModel):
    """A draft without its details."""

    id: int
    name: str
    kind: dict[str, Any]
    made_at: str
    closed_at: str | None
    photos: int


class CalibrationPage(BaseModel):
    """A draft with all that its page shows."""

    id: int
    name: str
    kind: dict[str, Any]
    made_at: str
    closed_at: str | None
    photos: list[PhotoOut]
    chart: list[dict[str, Any]]
    run: RunOut | None
    result: ResultOut | None
    wanted: list[str] = Field(description="What to do next, the most useful first.")


class ProfileOut(BaseModel):
    """A profile's version."""

    id: int
    name: str
    version: int
    current: bool = Field(description="New readings of this name are made with it.")
    sha256: str
    origin: Literal["calibrated", "imported", "given"]
    calibration: int | None = None
    at: str
    controls: int = Field(0, description="Control strips read with it.")


class SentProfile(BaseModel):
    """A profile file that came in, as its key stands for it."""

    sha256: str


class Nothing(BaseModel):
    """A request without details."""


class SentControl(BaseModel):
    """A control photo that came in, as its key stands for it."""

    sha256: str
    file: str
    liquid: str
    ph: float
    ph_sd: float


class ControlPoint(BaseModel):
    """A control strip on the chart; error and interval in pH."""

    id: int
    at: str
    file: str
    liquid: str
    ph: float
    ph_sd: float
    read: float | None
    interval: Pair
    status: str
    error: float | None
    deviations: float | None = Field(description="The error in its own standard deviations.")
    where: Literal["within", "warning", "action", "unread"]
    reasons: list[dict[str, Any]]


class ControlChart(BaseModel):
    """Control strips of a profile over time, the limits in standard deviations, and the check of all of them."""

    profile: int
    warning: float
    action: float
    points: list[ControlPoint]
    check: dict[str, Any] | None = Field(description="As `stripread check --json`, with its words.")
