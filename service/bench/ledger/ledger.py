"""Where a batch's silver is, vessel by vessel: the notes played, the weighings held against them, said in ranges."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np

from service.bench.chemistry.balance import Decant
from service.bench.chemistry.reagents import Span
from service.bench.ledger.books import BAR, GIVEN, GONE, SPILT, Books
from service.bench.ledger.draws import Array, N, range_of
from service.bench.ledger.mixing import stage_forms, stage_liquid
from service.bench.ledger.play import Played, play
from service.bench.ledger.pouring import Elsewhere
from service.bench.ledger.vessels import VOLUME, Holding
from service.bench.ledger.weighed import Compared, after_weighing, compare
from service.bench.notes import DecantNote, Note, decant_of
from service.bench.notes.of_vessels import MAIN, STOCK
from service.bench.vessel.contents import Contents
from stripread.words import _, number, say

NOTHING_G = 0.0005  # silver below which a place that is no vessel is not worth a line


@dataclass(frozen=True)
class VesselState:
    """One vessel: silver in all, dissolved and solid, g, as 95 % ranges; its liquid as far as somebody said.

    ``key`` names it for programs; ``here`` is False where its silver left the bench or is lost; ``weighed`` whether a
    weighing of it counts. ``at`` and ``note`` are of the note that touched it last.
    """

    key: str
    name: str
    what_for: str
    tare_g: float | None
    litres: Span | None
    contents: Contents | None
    forms: tuple[str, ...]
    silver_g: Span
    dissolved_g: Span
    solid_g: Span
    here: bool
    weighed: bool
    at: str
    note: int


@dataclass(frozen=True)
class Suspect:
    """The loss that the weighings point to: in which vessel, how much, and in which others it may be as well."""

    key: str
    name: str
    silver_g: Span
    or_in: tuple[str, ...]
    sentence: str


@dataclass(frozen=True)
class Missing:
    """A place where some of the silver may be that is not in the batch's own vessel or its bars; largest first."""

    key: str
    name: str
    silver_g: Span
    suspected: bool = False


@dataclass(frozen=True)
class Ledger:
    """A batch's silver. ``inputs_g`` came in, ``open_g`` is what is missing by the weighings (below 0: too much).

    ``agree``: whether the weighings agree with the notes and with one another, as those of most sound batches do.
    ``given_g`` by note is what went to other batches. ``stock`` is the silver in the stock vessel as draws (N,), g,
    for the sum over batches.
    """

    batch: int
    inputs_g: Span
    vessels: tuple[VesselState, ...]
    missing: tuple[Missing, ...]
    open_g: Span
    agree: bool
    suspect: Suspect | None
    weighings: int
    given_g: Mapping[int, Span]
    sentence: str
    stock: Array = field(compare=False, repr=False)

    @property
    def closes(self) -> bool:
        """Whether nothing need be missing: what is open may be 0."""
        return self.open_g[0] <= 0.0 <= self.open_g[2]

    def vessel(self, key: str) -> VesselState | None:
        """The vessel of this key."""
        return next((one for one in self.vessels if one.key == key), None)


def ledger_of(
    notes: Sequence[Note],
    batch: int = 0,
    elsewhere: Elsewhere | None = None,
    chloride: Mapping[int, tuple[float, float]] | None = None,
    chalk_g: Span = (0.0, 0.0, 0.0),
) -> Ledger:
    """A batch's ledger by its notes in force, in their order.

    Parameters
    ----------
    elsewhere
        What other batches took from it or brought to it.
    chloride
        mol/L (low, high) of the decants that end these washes, by the wash's own pH.
    chalk_g
        Chalk of hard water weighed with the powder, g.
    """
    washes = chloride or {}

    def decant(content: DecantNote) -> Decant:
        return decant_of(content, washes.get(content.wash_number or -1))

    return told(play(notes, batch, elsewhere or Elsewhere(), decant, chalk_g), batch)


def told(played: Played, batch: int) -> Ledger:
    """The books of a batch as ranges."""
    books = played.books
    compared = compare(books.weighings, books.places)
    keys = list(books.holdings)
    parts = [part for key in keys for part in (books.holdings[key].solid, books.holdings[key].dissolved)]
    given = [books.given[note] for note in books.given]
    every = np.array([*parts, *given, books.inputs])
    found = compared.found
    amounts, loss = after_weighing(every, books.weighings, found, float(books.inputs[:N].mean()))
    states = tuple(
        _state(key, books.holdings[key], played, np.maximum(amounts[2 * n], 0.0), np.maximum(amounts[2 * n + 1], 0.0))
        for n, key in enumerate(keys)
    )
    shown = tuple(one for one in states if one.here or one.silver_g[2] >= NOTHING_G)
    open_g = _open(compared)
    suspect = _suspect(books, compared, loss)
    return Ledger(
        batch,
        range_of(books.inputs[:N]),
        shown,
        _missing(shown, suspect),
        open_g,
        compared.agree,
        suspect,
        len(books.weighings),
        {note: range_of(amounts[len(parts) + n]) for n, note in enumerate(books.given)},
        suspect.sentence if suspect is not None else _sentence(books, open_g, compared),
        np.maximum(amounts[2 * keys.index(STOCK) : 2 * keys.index(STOCK) + 2], 0.0).sum(axis=0)
        if STOCK in keys
        else np.zeros(N),
    )


def _state(key: str, held: Holding, played: Played, solid: Array, dissolved: Array) -> VesselState:
    forms, contents, litres = held.forms, held.contents, held.litres
    if key == MAIN and not played.melted:
        forms = stage_forms(played.stage) or forms
        contents = stage_liquid(played.stage, 0.0)
    return VesselState(
        key,
        say(held.name),
        held.what_for,
        held.tare_g,
        None if litres is None else (litres * (1.0 - VOLUME), litres, litres * (1.0 + VOLUME)),
        contents,
        forms,
        range_of(solid + dissolved),
        range_of(dissolved),
        range_of(solid),
        key not in (GONE, GIVEN, SPILT),
        held.weighed_by > 0,
        held.at,
        held.note,
    )


def _open(compared: Compared) -> Span:
    """What is missing by the weighings if one loss explains them; wide, since its place was chosen among many."""
    best = compared.best
    if best is None:
        return 0.0, 0.0, 0.0
    wide = compared.sure * best.sd_g
    return best.grams - wide, best.grams, best.grams + wide


def _suspect(books: Books, compared: Compared, loss: Array) -> Suspect | None:
    found = compared.found
    if found is None:
        return None
    names = [say(books.holdings[site.vessel].name) for site in found.sites]
    first, others = names[0], tuple(dict.fromkeys(name for name in names[1:] if name != names[0]))
    span = range_of(loss)
    text = _(
        "The weighings point to {vessel}: about {grams} g ({low} to {high}) went missing in it or on the way into it.",
        vessel=first,
        grams=_grams(span[1]),
        low=_grams(span[0]),
        high=_grams(span[2]),
    )
    if others:
        text += " " + _(
            "It may as well be {others}: what was weighed does not tell them apart.", others=_(" or ").join(others)
        )
    return Suspect(found.sites[0].vessel, first, span, others, text)


def _missing(states: Sequence[VesselState], suspect: Suspect | None) -> tuple[Missing, ...]:
    """Everything but the product, largest first; the loss that the weighings point to goes by its own size."""
    places = [
        Missing(one.key, one.name, one.silver_g)
        for one in states
        if one.key not in (MAIN, BAR, GIVEN) and one.silver_g[2] >= NOTHING_G
    ]
    if suspect is not None:
        places.append(Missing(suspect.key, suspect.name, suspect.silver_g, suspected=True))
    return tuple(sorted(places, key=lambda one: -one.silver_g[1]))


def _sentence(books: Books, open_g: Span, compared: Compared) -> str:
    if not books.inputs.any():
        return _("Nothing was weighed or brought in yet: weigh what the batch starts from.")
    if not books.weighings:
        return _("Nothing was weighed since it came in: where the silver is rests on the notes alone.")
    low, mid, high = open_g
    if low > 0.0 or high < 0.0:
        return _(
            "{mid} g more were weighed than came in ({low} to {high}): something is not dry or not pure, or a lot was "
            "not written down.",
            mid=_grams(-mid),
            low=_grams(-high),
            high=_grams(-low),
        )
    if compared.agree:
        return _("All of it is accounted for, within the ranges.")
    return _(
        "In all nothing need be missing, but the weighings do not agree with one another: weigh again, or look for "
        "something that was moved and not written down."
    )


def _grams(value: float) -> str:
    return number(value, ".4g" if value >= 100.0 else ".3g") if abs(value) >= NOTHING_G else "0"


__all__ = ["STOCK", "Elsewhere", "Ledger", "Missing", "Suspect", "VesselState", "ledger_of", "told"]
