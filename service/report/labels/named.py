"""Labels of the vessels that a batch's notes name, and of its bars: what each holds by the ledger."""

from __future__ import annotations

from collections.abc import Sequence

from service.bench.ledger.books import BAR, CRUCIBLE, MELTED, PAPERS, PLACES, SLAG
from service.bench.ledger.ledger import NOTHING_G, VesselState
from service.bench.ledger.mixing import FORM_WORDS
from service.bench.ledger.view import WHAT_FOR, from_to
from service.bench.melting.melt import Bar
from service.bench.melting.of_batch import melts_of
from service.bench.notes import Note, Weight, contents, in_force
from service.bench.notes.of_vessels import MAIN, STOCK
from service.bench.vessel.contents import Contents, Poured, contents_of, together
from service.bench.weighings import lots_of, metal_weighings
from service.report.labels.label import Label, label_of, strength_words
from stripread.words import N_, _, number, say

NO_BLEACH = N_("No bleach, no cyanide, no sulfide, no ammonia to it.")
PAPER = N_("They hold silver: keep them. Paper that held nitrate burns fiercely when dry: rinse it first.")
_SLAG = N_("Keep it: crush it and look for beads. Don't breathe the dust.")
_FORMS = {"chloride": N_("silver chloride"), "oxide": N_("silver oxide"), "metal": N_("silver metal")}
_WORDS = {form: words for words, form in FORM_WORDS.items()}
_OUR_OWN = {MAIN, STOCK, BAR, PAPERS}  # those have labels of their own


def named_labels(vessels: Sequence[VesselState]) -> tuple[Label, ...]:
    """One label for each vessel here that a note named or filled, and for slag and crucible of a melt."""
    shown = [one for one in vessels if one.here and one.key not in _OUR_OWN]
    return tuple(_named(one) for one in shown if not one.key.startswith("·") or one.key in (SLAG, CRUCIBLE, MELTED))


def main_title(vessels: Sequence[VesselState]) -> str:
    """The batch's own vessel by the name that it was given; empty where it was given none."""
    return next((one.name for one in vessels if one.key == MAIN and one.name != say(PLACES[MAIN][0])), "")


def _named(one: VesselState) -> Label:
    solid = one.forms if one.solid_g[1] > 0.0 else ()
    molten = one.what_for in ("slag", "crucible")
    holds = [] if one.what_for == "other" else [say(WHAT_FOR[one.what_for])]
    silver = from_to(one.silver_g)
    if solid and not molten:
        holds.append(_("{what}: {silver} of silver by the log", what=", ".join(map(_form, solid)), silver=silver))
    elif one.silver_g[2] >= NOTHING_G:
        holds.append(_("{silver} of silver by the log", silver=silver))
    liquid = one.contents if one.contents is not None and (one.contents.litres or one.contents.base.unknown) else None
    if liquid is not None:
        holds.append(_liquid(liquid))
    elif one.silver_g[2] < NOTHING_G:
        holds.append(_("empty by the log: write down what goes in"))
    if one.tare_g is not None:
        holds.append(_("empty it weighs {grams} g", grams=number(one.tare_g, "g")))
    caution = say(_SLAG) if molten else say(PAPER) if one.what_for == "paper" else say(NO_BLEACH)
    title = one.name[:1].upper() + one.name[1:] if one.key.startswith("·") else one.name
    held = contents_of([]) if molten else _held(solid, one.contents)  # slag is glass and metal in one piece
    return label_of(one.key, title, tuple(holds), held, caution, key=one.key)


def _held(solid: tuple[str, ...], liquid: Contents | None) -> Contents:
    """Solid and liquid together; of a liquid that nobody measured there may be a litre, and it counts as the worst."""
    # As of rinse water without a volume: what is unknown of it warns only where there is some.
    litres = 1.0 if liquid is not None and liquid.base.unknown and not liquid.litres else 0.0
    held = contents_of([Poured("", litres, mol=0.0, contents=tuple(_WORDS[form] for form in solid))])
    return held if liquid is None else together(held, liquid)


def _form(form: str) -> str:
    return say(_FORMS.get(form, form))


def _liquid(held: Contents) -> str:
    strength = strength_words(held)
    return strength if not held.litres else _("{litres:.3g} L; {strength}", litres=held.litres, strength=strength)


def bar_labels(notes: Sequence[Note]) -> tuple[Label, ...]:
    """One label for each bar: its mass, how fine it is where something tells it, the day on which it was weighed."""
    counting = in_force(list(notes))
    bars = [bar for melt in melts_of(counting) for bar in melt.bars]
    if bars:
        return tuple(_bar(bar.name, _mass(bar.grams, bar.scale_g), _fineness(bar), bar.at) for bar in bars)
    weights = [one for one in contents(counting, Weight) if one.of in ("powder", "silver")]
    if not weights or weights[-1].of != "silver":
        return ()
    lots = lots_of(metal_weighings(counting), "silver")
    at = {note.id: (note.at, note.content.scale_g) for note in counting if isinstance(note.content, Weight)}
    return tuple(
        _bar(
            _("Silver bar") if len(lots) == 1 else _("Silver bar {place}", place=place),
            _mass(lot.grams, at[lot.number][1]),
            _("Its fineness is not known: all of it counts as silver."),
            at[lot.number][0],
        )
        for place, lot in enumerate(lots, 1)
    )


def _bar(title: str, mass: str, fineness: str, at: str) -> Label:
    # Metal in one piece is no powder: silver's statement for water life is the powder's (CLP Annex VI, from memory).
    return label_of("metal", title, (mass, fineness), contents_of([]), key=BAR, day=at)


def _mass(grams: float, scale_g: float | None) -> str:
    scale = "" if scale_g is None else _(" ± {scale_g:g}", scale_g=scale_g)
    return _("silver, {grams:g}{scale} g", grams=grams, scale=scale)


def _fineness(bar: Bar) -> str:
    share = bar.fineness.share
    if share is None:
        return _("Its fineness is not known: all of it counts as silver.")
    low, value, high = (number(1000.0 * end, ".0f") for end in share)
    by = _("by an assay") if bar.fineness.by == "assay" else _("by its density")
    if low == high:
        return _("fineness {value} ‰, {by}", value=value, by=by)
    return _("fineness {value} ‰ ({low} to {high} ‰), {by}", value=value, low=low, high=high, by=by)
