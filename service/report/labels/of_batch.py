"""Which vessels a batch has at its stage, and what each holds as the log knows it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from service.bench.ledger.books import PAPERS
from service.bench.ledger.ledger import VesselState
from service.bench.notes import DecantNote, Note, Weight, contents, in_force
from service.bench.notes.of_vessels import MAIN, STOCK
from service.bench.procedure import SHIPPED, Procedure, Stage, load_procedure
from service.bench.readings import LoggedPh, LoggedTint, Observation
from service.bench.state import METAL, State
from service.bench.vessel.contents import Contents, Poured, contents_of
from service.bench.vessel.substances import Kind
from service.bench.vessel.waste import NO_DRAIN, Stock
from service.report.labels.label import Label, label_of, strength_words
from service.report.labels.named import NO_BLEACH, PAPER, bar_labels, main_title, named_labels
from stripread.words import N_, _, say

_NOT_SAID = N_("Its procedure does not say what is in it: write it here, and copy the statements of what went in.")
_DUST = N_("Keep it covered, don't breathe the dust. No water near molten metal.")


@dataclass(frozen=True)
class Known:
    """What the log knows of a batch and of the stock vessel: all that its labels are made of.

    ``observations`` are the readings in force; ``stock`` is the vessel over all batches, None where it is empty.
    """

    number: int
    name: str
    state: State
    notes: tuple[Note, ...]
    observations: tuple[Observation, ...]
    stock: Stock | None
    dangers: tuple[str, ...] = ()
    stock_silver: str = ""  # whether the stock vessel counts as holding silver, in words
    vessels: tuple[VesselState, ...] = ()  # of its ledger


def labels_of(known: Known) -> tuple[Label, ...]:
    """The labels of a batch's vessels, the one that it is in first."""
    procedure, stage = known.state.procedure, known.state.stage
    found = [_main(known)]
    washes = [place for place, one in enumerate(procedure.stages) if "ph" in one.read]
    if washes and procedure.stages.index(stage) <= washes[-1]:
        found.append(_decant(known))
    found += named_labels(known.vessels)
    if not any(one.what_for == "paper" for one in known.vessels if one.key != PAPERS):
        found.append(_papers(known))
    return (*found, _stock(known), *(bar_labels(known.notes) or (_powder(known),)))


def described(procedure: Procedure, stage: Stage) -> Stage:
    """The stage with what its vessel holds: as it says, else as a shipped procedure of that name does by now.

    The log keeps a procedure as it was when its batch began, which may be before procedures said it.
    """
    if stage.holds or stage.contents:
        return stage
    for shipped in map(load_procedure, SHIPPED):
        if shipped.name == procedure.name:
            for one in shipped.stages:
                if one.id == stage.id:
                    return stage.model_copy(update={"holds": one.holds, "contents": one.contents})
    return stage


def _main(known: Known) -> Label:
    stage = described(known.state.procedure, known.state.stage)
    title, at = main_title(known.vessels) or _("Batch vessel"), say(stage.title)
    if not stage.contents:
        words = say(stage.holds) if stage.holds else _("at the stage: {title}", title=at)
        return Label("main", title, (words,), None, (), (say(_NOT_SAID),), MAIN)
    held, ph = _liquid(known, stage, stage.contents)
    holds = [say(stage.holds)] if stage.holds else [_("at the stage: {title}", title=at)]
    holds += [strength_words(held) + ph] if _is_liquid(stage) else []
    caution = say(NO_BLEACH) if _is_liquid(stage) else say(_DUST)
    return label_of("main", title, tuple(holds), held, caution, key=MAIN)


def _decant(known: Known) -> Label:
    """The vessel into which washes are poured off: the liquid of the stage with fines of its solid."""
    stage = described(known.state.procedure, known.state.stage)
    title = _("Decanted liquid")
    if not stage.contents:
        return Label("decant", title, (_("poured off this batch"),), None, (), (say(_NOT_SAID),))
    held, ph = _liquid(known, stage, stage.contents)
    holds = [_("rinse water poured off, with fines of silver") if _is_liquid(stage) else _("poured off this batch")]
    holds += [strength_words(held) + ph]
    if (copper := _copper(known)) is not None:
        holds.append(copper)
    if last := contents(in_force(list(known.notes)), DecantNote):
        holds.append(_("last: {name}, {litres:.3g} L", name=last[-1].name, litres=last[-1].litres))
    return label_of("decant", title, tuple(holds), held, _("Settle it, keep the fines, then into the stock vessel."))


def _liquid(known: Known, stage: Stage, words: Sequence[str]) -> tuple[Contents, str]:
    """The liquid with these words in it by the newest pH of this stage; the pH in words, empty where nobody read it."""
    if not _is_liquid(stage):
        return contents_of([Poured("", 1.0, mol=0.0, contents=tuple(words))]), ""
    since = known.state.moves[-1].at if known.state.moves else ""
    read = [
        o.reading
        for o in known.observations
        if isinstance(o.reading, LoggedPh) and o.reading.ph is not None and not o.blank and o.at >= since
    ]
    if not read:
        return contents_of([Poured("", 1.0, contents=tuple(words))]), ""
    last = read[-1]
    held = contents_of([Poured("", 1.0, last.ph, last.interval, contents=tuple(words))])
    low, high = last.interval or (None, None)
    if low is None or high is None:
        return held, _(", pH {ph:.1f}", ph=last.ph)
    return held, _(", pH {ph:.1f} ({low:.1f} to {high:.1f})", ph=last.ph, low=low, high=high)


def _is_liquid(stage: Stage) -> bool:
    """Whether the vessel holds a liquid that is acid, alkaline, or was."""
    kinds = contents_of([Poured("", 1.0, contents=stage.contents)]).kinds
    return bool(kinds & {Kind.ACID, Kind.LYE})


def _copper(known: Known) -> str | None:
    found = [o.reading for o in known.observations if isinstance(o.reading, LoggedTint)]
    if not found or found[-1].decision is None:
        return None
    last = found[-1]
    if last.decision == "copper" and last.interval is not None:
        return _("copper, {low:.0f} to {high:.0f} mg/L", low=last.interval[0], high=last.interval[1])
    if last.decision == "copper":
        return _("copper")
    return _("copper: none seen") if last.decision == "none seen" else _("copper: undecided")


def _stock(known: Known) -> Label:
    title = _("Stock vessel, waste of all batches")
    found = known.stock
    if found is None:
        nothing = contents_of([])
        words = (_("empty by the log: write down what goes in"),)
        return label_of("stock", title, words, nothing, say(NO_DRAIN), key=STOCK)
    held = found.held
    holds = [_("{litres:.3g} L; {strength}", litres=held.litres, strength=strength_words(held))]
    if found.metals:
        holds.append(_("metals: {metals}", metals=", ".join(say(metal) for metal in found.metals)))
    if known.stock_silver:
        holds.append(known.stock_silver)
    dangers = known.dangers or tuple(stop.sentence for stop in found.stops)
    first = [*dangers[:1], *([_("More dangers stand on the page: open the code.")] if dangers[1:] else [])]
    if held.questions:
        holds.append(_("and something that nobody has named yet"))
    label = label_of("stock", title, tuple(holds), held, *first, say(NO_DRAIN), key=STOCK)
    return replace(label, signal="danger") if first or held.questions else label


def _papers(known: Known) -> Label:
    stage = described(known.state.procedure, known.state.stage)
    held = contents_of([Poured("", 1.0, mol=0.0, contents=("silver", *_solid(stage)))])
    words = (_("with silver chloride, oxide or powder"),)
    return label_of("papers", _("Filter papers"), words, held, say(PAPER), key=PAPERS)


def _solid(stage: Stage) -> tuple[str, ...]:
    return tuple(word for word in stage.contents if "silver" in word)


def _powder(known: Known) -> Label:
    weights = [w for w in contents(in_force(list(known.notes)), Weight) if w.of in METAL]
    words = _("not weighed yet")
    if weights:
        scale = "" if weights[-1].scale_g is None else _(" ± {scale_g:g}", scale_g=weights[-1].scale_g)
        words = _("last weighed: {grams:g}{scale} g", grams=weights[-1].grams, scale=scale)
    held = contents_of([Poured("", 1.0, mol=0.0, contents=("silver powder",))])
    return label_of("metal", _("Silver powder"), (words,), held, say(_DUST), key=MAIN)
