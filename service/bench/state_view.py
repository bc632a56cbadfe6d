"""A batch's state and its mass balance as they leave the bench: the JSON of the command line and of the API."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from service.bench.chemistry.balance import Balance
from service.bench.dosing.by_portions import Portions
from service.bench.drying.forecast import DryingForecast
from service.bench.melting.melt import Melt
from service.bench.reminding.reminder import Reminder
from service.bench.state import State
from stripread.words import say
from stripread.words.retold import retold

Grams = tuple[float, float, float]


class _View(BaseModel):
    model_config = ConfigDict(json_schema_serialization_defaults_required=True)


class StageName(_View):
    """A stage by its id and title."""

    id: str
    title: str


class StageView(StageName):
    """The stage that the batch is in."""

    do: str
    read: tuple[str, ...]


class GateView(_View):
    """Whether the next stage is open, and why."""

    state: str = Field(examples=["hold"])
    sentence: str = Field(examples=["Copper was still seen: wash on."])


class MoveView(_View):
    """One step from stage to stage; a change of the procedure names it, and has no state of a gate."""

    at: str
    to: str
    state: str
    sentence: str
    reason: str | None = None
    who: str | None = None
    procedure: str | None = None


class LossView(_View):
    """One way for silver to go; grams as (low, value, high)."""

    name: str
    silver_g: Grams
    where: str
    note: str


class BalanceView(_View):
    """A mass balance; grams as (low, value, high)."""

    model_config = ConfigDict(serialize_by_alias=True)

    expected_g: Grams
    weighed_g: Grams | None
    share: Grams | None = Field(serialization_alias="yield")
    shortfall_g: Grams | None
    losses: tuple[LossView, ...]
    chalk_g: Grams = Field(description="Chalk of hard water, weighed with the silver.")
    chalk_note: str = Field(description="What the chalk's range rests on; empty where there is none.")
    verdict: str


class StockView(_View):
    """What this batch poured into the stock vessel."""

    litres: float
    sentence: str


class DryingView(_View):
    """What the weighings of a drying foretell; hours of drying to go and water left as (low, value, high)."""

    status: str = Field(description="ok, wide (a range only), done, cannot tell.", examples=["ok"])
    sentence: str
    hours: Grams | None
    water_g: Grams | None


class BarView(_View):
    """A bar: its mass, its fineness in parts of one (low, value, high; null where nothing tells it), and by what."""

    name: str
    grams: float
    fineness: Grams | None
    by: str = Field(description="assay, density, not said.", examples=["density"])
    sentence: str


class MeltView(_View):
    """A melt; grams as (low, value, high), null where what it takes was not weighed."""

    bars: tuple[BarView, ...]
    bars_g: float
    silver_g: Grams
    lost_g: Grams | None = Field(description="From powder to bars; it is not all silver.")
    lost_share: float | None
    slag_silver_g: Grams | None
    sentences: tuple[str, ...]


class ReminderView(_View):
    """What is to be done, from when on; ``late`` where waiting on is a danger by itself."""

    code: str = Field(description="acidify, settled, weigh, time_up, look_again.", examples=["settled"])
    state: str = Field(description="later, now, late.", examples=["now"])
    due: str
    sentence: str


class PortionsView(_View):
    """A reagent dosed to an end by pictures: g that went in, share still pale and g to go as (low, value, high)."""

    status: str = Field(description="done, falling, stopped, cannot tell.", examples=["falling"])
    sentence: str
    added_g: float
    left: Grams | None
    more_g: Grams | None


class BenchState(_View):
    """Where a batch stands: stage and gate on top, what to do next in one line."""

    procedure: str
    procedure_version: int = Field(description="As its file says; a shipped one may have a later version by now.")
    stage: StageView
    gate: GateView
    next: str
    next_stage: StageName | None
    past_optional: StageName | None = Field(
        None, description="The stage that an open gate may lead to as well, past optional ones."
    )
    cautions: tuple[str, ...]
    can_go_wrong: tuple[str, ...]
    stages: tuple[StageName, ...]
    moves: tuple[MoveView, ...]
    balance: BalanceView | None
    worth_doing: tuple[str, ...]
    dangers: tuple[str, ...]
    stock: StockView | None
    reminders: tuple[ReminderView, ...] = Field(
        (), description="What the batch's own log says is to be done, and when."
    )
    melts: tuple[MeltView, ...] = ()
    portions: PortionsView | None = Field(None, description="From the second portion of a reagent on, with a picture.")
    drying: DryingView | None = Field(None, description="Of a stage that dries, once something was weighed.")


def drying_view(found: DryingForecast) -> DryingView:
    """A drying's forecast as it leaves the bench."""
    return DryingView(status=found.status, sentence=found.sentence, hours=found.hours, water_g=found.water_g)


def reminder_view(found: Reminder) -> ReminderView:
    """A reminder as it leaves the bench."""
    return ReminderView(code=found.code, state=found.state, due=found.due, sentence=found.sentence)


def melt_view(found: Melt) -> MeltView:
    """A melt as it leaves the bench."""
    bars = tuple(
        BarView(name=b.name, grams=b.grams, fineness=b.fineness.share, by=b.fineness.by, sentence=b.fineness.sentence)
        for b in found.bars
    )
    return MeltView(
        bars=bars,
        bars_g=found.bars_g,
        silver_g=found.silver_g,
        lost_g=found.lost_g,
        lost_share=found.lost_share,
        slag_silver_g=found.slag_silver_g,
        sentences=found.sentences,
    )


def portions_view(found: Portions) -> PortionsView:
    """Portions as they leave the bench."""
    return PortionsView(
        status=found.status, sentence=found.sentence, added_g=found.added_g, left=found.left, more_g=found.more_g
    )


def balance_view(found: Balance) -> BalanceView:
    """A mass balance as it leaves the bench."""
    return BalanceView(
        expected_g=found.expected_g,
        weighed_g=found.weighed_g,
        share=found.share,
        shortfall_g=found.shortfall_g,
        losses=tuple(LossView(name=x.name, silver_g=x.silver_g, where=x.where, note=x.note) for x in found.losses),
        chalk_g=found.chalk_g,
        chalk_note=found.chalk_note,
        verdict=found.verdict,
    )


def state_view(state: State) -> BenchState:
    """A batch's state as it leaves the bench."""
    stage, after = state.stage, state.procedure.after(state.stage.id)
    past = state.procedure.past(stage.id) if state.verdict.state == "open" else None
    return BenchState(
        procedure=say(state.procedure.name),
        procedure_version=state.procedure.version,
        stage=StageView(id=stage.id, title=say(stage.title), do=say(stage.do), read=stage.read),
        gate=GateView(state=state.verdict.state, sentence=state.verdict.sentence),
        next=state.next_line,
        next_stage=None if after is None else StageName(id=after.id, title=say(after.title)),
        past_optional=None if past is None else StageName(id=past.id, title=say(past.title)),
        cautions=(*(danger.sentence for danger in state.dangers), *map(say, stage.cautions), state.rules),
        can_go_wrong=tuple(map(say, stage.wrong)),
        stages=tuple(StageName(id=s.id, title=say(s.title)) for s in state.procedure.stages),
        moves=tuple(
            MoveView(
                at=m.at,
                to=m.to,
                state=m.state,
                sentence=retold(m.sentence),
                reason=m.reason,
                who=m.who,
                procedure=None if m.procedure is None else say(m.procedure),
            )
            for m in state.moves
        ),
        balance=None if state.balance is None else balance_view(state.balance),
        worth_doing=state.worth_doing,
        dangers=tuple(danger.sentence for danger in state.dangers),
        stock=None if state.stock is None else StockView(litres=state.stock.litres, sentence=state.stock.sentence),
        reminders=tuple(map(reminder_view, state.reminders)),
        melts=tuple(map(melt_view, state.melts)),
        portions=None if state.portions is None else portions_view(state.portions),
        drying=None if state.drying is None else drying_view(state.drying),
    )
