"""The ledger of vessels as it leaves the bench: the JSON of the command line and of the API, and its table in words."""

from __future__ import annotations

from pydantic import BaseModel, ConfigDict, Field

from service.bench.chemistry.reagents import Span
from service.bench.ledger.ledger import Ledger, Missing, VesselState
from service.bench.ledger.marks import vessel_mark
from service.bench.vessel.contents import Contents
from stripread.words import N_, _, number, say

WHAT_FOR: dict[str, str] = {
    "main": N_("the batch itself"),
    "buffer": N_("catches fines that go back"),
    "stock": N_("waste with silver in it"),
    "paper": N_("a filter paper"),
    "crucible": N_("a crucible"),
    "slag": N_("slag"),
    "other": N_("something else"),
    "bar": N_("metal, done"),
    "glass": N_("what sticks"),
    "spilt": N_("lost"),
    "gone": N_("left the bench"),
    "given": N_("other batches"),
}


class _View(BaseModel):
    model_config = ConfigDict(json_schema_serialization_defaults_required=True)


class LiquidView(_View):
    """A vessel's liquid as far as somebody said: mol of acid (lye below 0) and of each kind, as (low, value, high)."""

    acid_mol: Span | None = Field(description="Below 0: lye. None where nobody said how much.")
    side: str = Field(examples=["acid"])
    kinds: tuple[str, ...] = Field(examples=[["acid", "chloride", "silver"]])
    mol: dict[str, Span] = Field(description="Of kinds whose strength was told.")


class VesselView(_View):
    """One vessel; grams and litres as (low, value, high), 95 % of what may be."""

    key: str
    mark: str = Field(description="What the code on its label calls it.", examples=["buffer"])
    name: str
    what_for: str = Field(examples=["buffer"])
    what_for_words: str
    tare_g: float | None
    litres: Span | None
    liquid: LiquidView | None
    forms: tuple[str, ...] = Field(description="Of its solid silver.", examples=[["chloride"]])
    silver_g: Span
    words: str = Field(description="Its silver from-to with the forms of the solid.")
    dissolved_g: Span
    solid_g: Span
    here: bool = Field(description="False where its silver left the bench, went to another batch, or is lost.")
    weighed: bool
    at: str = Field(description="When a note touched it last, ISO time; empty where none did.")
    note: int


class MissingView(_View):
    """A place where some of the silver may be, beside the batch's own vessel and its bars."""

    key: str
    name: str
    silver_g: Span
    words: str = Field(description="From-to, and why it stands here.")
    suspected: bool = Field(description="The weighings point to a loss out of it; else it holds so much by the notes.")


class SuspectView(_View):
    """The loss that the weighings point to."""

    key: str
    name: str
    silver_g: Span
    or_in: tuple[str, ...] = Field(description="Where it may be as well: what was weighed does not tell them apart.")
    sentence: str


class LedgerView(_View):
    """A batch's silver over all its vessels; grams as (low, value, high)."""

    batch: int
    inputs_g: Span
    open_g: Span = Field(description="Missing by the weighings; below 0: more than came in.")
    closes: bool = Field(description="Nothing need be missing.")
    agree: bool = Field(description="The weighings agree with the notes and with one another.")
    weighings: int
    sentence: str
    suspect: SuspectView | None
    missing: tuple[MissingView, ...] = Field(description="Largest first.")
    vessels: tuple[VesselView, ...]


def ledger_view(found: Ledger) -> LedgerView:
    """A ledger as it leaves the bench."""
    suspect = found.suspect
    return LedgerView(
        batch=found.batch,
        inputs_g=found.inputs_g,
        open_g=found.open_g,
        closes=found.closes,
        agree=found.agree,
        weighings=found.weighings,
        sentence=found.sentence,
        suspect=None
        if suspect is None
        else SuspectView(
            key=suspect.key,
            name=suspect.name,
            silver_g=suspect.silver_g,
            or_in=suspect.or_in,
            sentence=suspect.sentence,
        ),
        missing=tuple(
            MissingView(
                key=one.key, name=one.name, silver_g=one.silver_g, words=missing_words(one), suspected=one.suspected
            )
            for one in found.missing
        ),
        vessels=tuple(_vessel(one) for one in found.vessels),
    )


def _vessel(one: VesselState) -> VesselView:
    return VesselView(
        key=one.key,
        mark=vessel_mark(one.key),
        name=one.name,
        what_for=one.what_for,
        what_for_words=say(WHAT_FOR[one.what_for]),
        tare_g=one.tare_g,
        litres=one.litres,
        liquid=None if one.contents is None else _liquid(one.contents),
        forms=one.forms,
        silver_g=one.silver_g,
        words=silver_words(one),
        dissolved_g=one.dissolved_g,
        solid_g=one.solid_g,
        here=one.here,
        weighed=one.weighed,
        at=one.at,
        note=one.note,
    )


def _liquid(held: Contents) -> LiquidView:
    told = held.litres > 0.0 and not held.base.unknown
    return LiquidView(
        acid_mol=held.base.mol if told else None,
        side=held.side,
        kinds=tuple(sorted(held.kinds)),
        mol={str(kind): span for kind, span in held.amounts},
    )


def rows_of(found: Ledger) -> list[tuple[str, str, str, str]]:
    """The table in words, the richest vessel first: vessel, what for, silver from-to with its forms, last touched."""
    ordered = sorted(found.vessels, key=lambda one: -one.silver_g[1])
    return [(one.name, say(WHAT_FOR[one.what_for]), silver_words(one), one.at) for one in ordered]


def silver_words(one: VesselState) -> str:
    """A vessel's silver from-to, with the forms of what is solid, in words."""
    forms = ", ".join(say(form) for form in one.forms) if one.solid_g[1] > 0.0 else ""
    text = from_to(one.silver_g)
    return f"{text} ({forms})" if forms else text


def missing_words(one: Missing) -> str:
    """How much may be there, and why it is named."""
    why = _("the weighings point to a loss there") if one.suspected else _("by the notes")
    return f"{from_to(one.silver_g)} ({why})"


def from_to(span: Span) -> str:
    """ "1.2 to 3.4 g", in grams or, where it is little, in milligrams."""
    low, high = span[0], span[2]
    if high < 0.0005:
        return _("none to speak of")
    if high < 0.1:
        return _("{low} to {high} mg", low=_figure(1000.0 * low), high=_figure(1000.0 * high))
    return _("{low} to {high} g", low=_figure(low), high=_figure(high))


def _figure(value: float) -> str:
    return number(value, ".4g" if value >= 100.0 else ".3g" if value >= 10.0 else ".2g") if value >= 5e-4 else "0"
