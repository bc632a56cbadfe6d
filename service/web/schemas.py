"""The wire models: what the API takes and gives. A reading is the command line's JSON with a ``log`` beside it."""

from __future__ import annotations

from dataclasses import asdict
from datetime import datetime
from typing import TYPE_CHECKING, Annotated, Any, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field

from service.bench.question import Question
from service.bench.readings import Logged, LoggedCells, LoggedPh, LoggedSolid, LoggedTint
from service.log.fields import Alkalinity, Id, Pair, Text, Two, zone_asked
from service.moments import Source

if TYPE_CHECKING:
    from service.bench.washing.phases import WashForecast

Number = float | None
Zone = Annotated[
    Text,
    Field(max_length=60, examples=["America/Chicago"], description="IANA name; the bench computer's if not said."),
    AfterValidator(zone_asked),
]


class Swatch(BaseModel):
    """A pad's colour as seen, and the curve's colour at that pH."""

    seen: str = Field(examples=["#9bb35a"])
    seen_lab: list[float]
    curve: str | None
    curve_lab: list[float] | None
    difference: float | None


class MomentOut(BaseModel):
    """When a photo was taken."""

    utc: str = Field(description="ISO 8601.")
    local: str = Field(description="The same in the batch's zone, with its offset.")
    zone: str = Field(examples=["America/Chicago"], description="IANA name.")
    source: Source = Field(
        description="Who told it: exif_zone (the camera, with its zone), exif (the camera, which names none: "
        "the batch's zone is taken), phone (the phone's clock), file (the file's own time), upload (its arrival)."
    )
    text: str
    told: str


class LogInfo(BaseModel):
    """What the log knows about a reading."""

    id: int
    batch: int
    origin: Literal["photo", "watch", "correction", "reread"]
    received_at: str
    snapped_at: str | None
    moment: MomentOut
    wash: int | None
    note: str
    corrects: int | None = None
    corrected_by: int | None = None
    made_by: str | None = None
    why: str | None = None
    withdrawn: bool = False
    unreadable: bool = Field(False, description="The row is damaged: nothing in it counts until it is repaired.")
    profile_sha256: str | None = None
    colours: list[Swatch] = []
    cautions: list[str] = []
    said: dict[str, Any] = Field({}, description="What was said of the strip: dipped_at, temperature_c, rinse.")
    blank_entry: int | None = Field(None, description="The rinse water's entry that this one was compared with.")
    cells_entry: int | None = Field(None, description="The entry whose photo measures this tint's vials.")
    vials_changed: bool = Field(False, description="Said: vials or places were changed since that photo.")
    asked: list[Question] = Field([], description="What has to be answered before it counts.")
    phone: str = Field("unknown phone", description="What took the photo: by its user's name, else by make and model.")
    phone_id: int | None = Field(None, description="Its number in `/api/phones`; null where the photo names none.")


class _Entry(Logged):
    log: LogInfo


class PhEntry(LoggedPh, _Entry):
    """A pH reading in the log."""


class TintEntry(LoggedTint, _Entry):
    """A reading of the copper-ammonia tint in the log."""


class SolidEntry(LoggedSolid, _Entry):
    """A reading of a solid in the log."""


class CellsEntry(LoggedCells, _Entry):
    """A photo in the log that measures a pair of vials."""


LogEntry = Annotated[PhEntry | TintEntry | SolidEntry | CellsEntry, Field(discriminator="kind")]


class Water(BaseModel):
    """The rinse water, for the wash forecast."""

    water: Literal["pure", "air", "tap", "unknown"] = "unknown"
    alkalinity_mmol_l: Alkalinity | None = None
    blank_entry: Id | None = Field(None, description="The pH reading of the rinse water itself.")


class NewBatch(BaseModel):
    """A batch to start."""

    model_config = ConfigDict(json_schema_extra={"examples": [{"name": "Chloride of 12 May"}]})
    name: Annotated[Text, Field(min_length=1, max_length=200)]
    water: Water | None = None
    zone: Zone | None = None
    procedure: Annotated[Text, Field(max_length=100)] | None = Field(
        None, description="A shipped procedure; `/api/procedures` lists them."
    )


class BatchChange(BaseModel):
    """What to change about a batch; what is left out stays."""

    model_config = ConfigDict(
        json_schema_extra={
            "examples": [{"name": "Chloride of 13 May"}, {"closed": False, "reason": "one more wash", "who": "A."}]
        }
    )
    name: Annotated[Text, Field(min_length=1, max_length=200)] | None = None
    closed: bool | None = None
    reason: Annotated[Text, Field(max_length=1000)] | None = Field(
        None, description="Why it is closed or opened again; the log keeps it."
    )
    who: Annotated[Text, Field(max_length=100)] | None = None
    water: Water | None = None
    zone: Zone | None = None


class Batch(BaseModel):
    """A batch."""

    id: int
    name: str
    opened_at: str
    closed_at: str | None
    entries: int | None = None
    water: Water
    zone: str = Field(examples=["America/Chicago"], description="Where its times are shown, as an IANA name.")
    bench: str | None = Field(None, description="Name of the bench whose batch it is; null for the keeper's.")


class Event(BaseModel):
    """Something done to a batch."""

    at: str
    what: str
    detail: dict[str, Any]


class Forecast(BaseModel):
    """Further washes until the rinse is neutral, or why that can't be told."""

    model_config = ConfigDict(extra="allow")
    status: str = Field(examples=["ok", "done", "stalled", "cannot tell"])
    message: str
    washes: Number = None
    interval: Pair = None
    level: float = 0.9


def wire_forecast(found: WashForecast) -> Forecast:
    """A forecast as the API gives it; what was never fitted is not told of."""
    told = asdict(found) if found.kind else {n: getattr(found, n) for n in Forecast.model_fields}
    return Forecast.model_validate(told)


class BatchPage(Batch):
    """A batch with all that its page shows."""

    events: list[Event]
    forecast: Forecast
    neutral: Two


class Join(BaseModel):
    """What a phone sends to pair: the token of the link."""

    token: Annotated[str, Field(min_length=1, max_length=200)]


class SessionOut(BaseModel):
    """A paired phone."""

    id: int
    device: str
    paired_at: str
    revoked_at: str | None
    expires_at: str
    bench: str | None = Field(None, description="Name of the bench whose phone it is; null for the keeper's.")


class LinkOut(BaseModel):
    """What the link to join still does."""

    joins_left: int
    ends_at: datetime
    over: bool


class Health(BaseModel):
    """Whether the service can take photos."""

    status: Literal["ok"]
    software: str
    waiting: int


class StripProfile(BaseModel):
    """A profile that strips may be read with; the first is taken when none is named."""

    name: str = Field(examples=["four-pad 0-14"])
    read_after_s: Pair = Field(None, description="The maker's reading window, seconds after dipping.")


class DemoOut(BaseModel):
    """The made-up workshop's own service: while it starts its photos are read, which takes a moment the first time."""

    state: Literal["off", "starting", "ready", "failed"]
    url: str | None


class BenchName(BaseModel):
    """A bench by number and name."""

    id: int
    name: str


class About(BaseModel):
    """What the page needs to know of this service."""

    software: str
    max_body: int
    kinds: dict[str, bool]
    profiles: list[StripProfile]
    local: bool
    neutral: Two
    cells_hours: dict[str, float] = Field({}, description="Hours for which a photo of the vials counts, by `matching`.")
    trust: bool = Field(False, description="There is a port with TLS; `/trust` says how a phone comes to trust it.")
    demo: bool = Field(False, description="This is the made-up workshop's log.")
    log_mark: str = Field("", description="What codes on labels of this log have in them; empty for an empty log.")
    bench: BenchName | None = Field(None, description="The bench that asks, which sees its own batches; null: all.")
