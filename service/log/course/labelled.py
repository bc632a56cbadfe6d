"""The vessel that a label's code names, looked up in this log; or one sentence that says why there is none."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from sqlalchemy import Connection

from service.bench.ledger.books import PLACES
from service.bench.ledger.marks import vessel_mark
from service.bench.notes.of_vessels import STOCK
from service.log import store
from service.log.chain.known_by import log_mark
from service.log.course.vessels import batch_ledger
from service.report.labels.address import Named, named_by
from stripread.words import _, say

ALIKE = 0.7  # of the largest code's side: one of that size is meant as likely
Found = Literal["vessel", "batch", "none"]


@dataclass(frozen=True)
class Labelled:
    """What a code named. ``batch`` is None for the stock vessel; ``sentence`` says why nothing was found."""

    found: Found
    batch: int | None = None
    batch_name: str = ""
    key: str = ""
    name: str = ""
    sentence: str = ""


def labelled(c: Connection, named: Named) -> Labelled:
    """The vessel, or the batch, that a label's code names."""
    if named.log is not None and named.log != log_mark(c):
        return _none(_("This label is of another log: nothing of it is here. Print labels of this log anew."))
    if named.batch is None:
        shared = Labelled("vessel", None, "", STOCK, say(PLACES[STOCK][0]))
        return shared if named.vessel == STOCK else _none(_("This code is of no vessel of this log."))
    row = store.batch(c, named.batch)
    if row is None:
        return _none(
            _("There is no batch {n} in this log: the label may be of another one.", n=named.batch), named.batch
        )
    of = Labelled("batch", named.batch, row["name"])
    return of if named.vessel is None else _vessel_of(c, of, named.batch, named.vessel)


def _vessel_of(c: Connection, of: Labelled, batch: int, mark: str) -> Labelled:
    known = {key: say(name) for key, (name, _what_for) in PLACES.items()}
    known |= {one.key: one.name for one in batch_ledger(c, batch).vessels}
    for key, name in known.items():
        if vessel_mark(key) == mark:
            return replace(of, found="vessel", key=key, name=name)
    gone = _(
        "The vessel of this label is not in batch {n}, “{name}”, any more: its note was withdrawn or it has "
        "another name now. Print the labels anew.",
        n=batch,
        name=of.batch_name,
    )
    return replace(of, found="none", sentence=gone)


def labelled_in(c: Connection, codes: Sequence[tuple[str, float]]) -> Labelled:
    """The vessel that a photo's codes name, as (text, side in pixels), the largest first."""
    if not codes:
        return _none(
            _(
                "No code was seen in the photo: go nearer, until the label fills a good part of the picture, hold "
                "still, and keep shine off it."
            )
        )
    ours = [(named, side) for text, side in codes if (named := named_by(text)) is not None]
    if not ours:
        return _none(_("The code in the photo is not of a label from here."))
    first, side = ours[0]
    if any(other != first and size >= ALIKE * side for other, size in ours[1:]):
        return _none(_("Several labels are in the photo: photograph the one alone."))
    return labelled(c, first)


def _none(sentence: str, batch: int | None = None) -> Labelled:
    return Labelled("none", batch, sentence=sentence)
