"""Chalk that hard water dropped into a batch's silver while its lye was washed out, from the batch's own log.

Washes after lye, as decants and readings tell them, times the water of each, times what the batch's water drops.
"""

from __future__ import annotations

import statistics
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass

from service.bench.chemistry.reagents import Span
from service.bench.course import walk
from service.bench.dosing.acid import CHALK_G_MOL, rinse_mol
from service.bench.melting.of_batch import melted
from service.bench.notes import AcidRinse, DecantNote, Note, ReagentUsed
from service.bench.procedure import Procedure
from service.bench.readings import LoggedPh, Observation
from service.bench.washing.parts import names_lye
from service.bench.washing.stalls import chalk_g, chalk_sentence
from stripread.words import _

NONE: Span = (0.0, 0.0, 0.0)
GUESSED = 1.5  # a wash whose volume nobody wrote down may take so many times what the others took; common practice


@dataclass(frozen=True)
class Chalk:
    """Chalk in the silver, g, (low, value, high); ``why`` says what the range rests on, empty where there is none.

    ``washes`` after lye were counted.
    """

    grams: Span = NONE
    why: str = ""
    washes: int = 0

    @property
    def tip(self) -> str | None:
        """What the chalk means for weight and rinse; None where it is next to nothing."""
        return chalk_sentence(self.grams)


def chalk_of(
    notes: Sequence[Note],
    observations: Sequence[Observation],
    procedure: Procedure,
    water: str | None,
    alkalinity_mmol_l: float | None,
) -> Chalk:
    """The chalk in a batch's silver by its notes and readings in force.

    Parameters
    ----------
    water, alkalinity_mmol_l
        The rinse water as named for the batch; where it is not known the range starts at 0.
    """
    known = 0.0 if alkalinity_mmol_l is None and water in ("pure", "air") else alkalinity_mmol_l
    at_lye = _After(notes, procedure)
    decants = [
        n.content.litres for n in notes if isinstance(n.content, DecantNote) and at_lye(n.at) and _is_wash(n.content)
    ]
    washes = max(len(decants), _washes_read(observations, at_lye))
    if not washes or known == 0.0:
        return Chalk(washes=washes)
    if melted(notes):
        return Chalk(why=_("The silver was melted before it was weighed: chalk went to the slag."), washes=washes)
    poured = [n.content for n in notes if isinstance(n.content, DecantNote)]
    others = [decant.litres for decant in poured if decant.wash_number is not None]
    missing = washes - len(decants)
    if missing and not (decants or others):
        text = _(
            "{washes} washes after lye, and no decant says how much water: the chalk in the silver is not known.",
            washes=washes,
        )
        return Chalk(why=text, washes=washes)
    usual = statistics.median(decants or others)
    low = chalk_g(decants, known)[0]
    value = chalk_g([*decants, *[usual] * missing], known)[1]
    high = chalk_g([*decants, *[GUESSED * usual] * missing], known)[2]
    why = [_("{washes} washes after lye", washes=washes)]
    if missing:
        why.append(
            _(
                "{missing} without a decant written down, taken as {usual:.2g} L like the others",
                missing=missing,
                usual=usual,
            )
        )
    why.append(
        _("water of {known:g} mmol/L alkalinity", known=known)
        if known is not None
        else _("the water's alkalinity is not known: from none, as in pure water, to 4 mmol/L, as in hard")
    )
    acid = sum(rinse_mol(n.content) for n in notes if isinstance(n.content, AcidRinse) and at_lye.washed(n.at))
    if acid:
        low, value = 0.0, max(0.0, value - CHALK_G_MOL * acid)
        why.append(_("an acid rinse since may have taken it out"))
    return Chalk((low, value, high), "; ".join(why)[0].upper() + "; ".join(why)[1:] + ".", washes)


class _After:
    """Whether lye was the last thing that went to the solid at a time (ISO), by the batch's notes."""

    def __init__(self, notes: Sequence[Note], procedure: Procedure) -> None:
        self._times: list[str] = []
        self._lye: list[bool] = []
        for note, step in walk(notes, procedure):
            content = note.content
            lye = isinstance(content, ReagentUsed) and names_lye(content.what)
            if step is not None:
                lye = "ph" not in step.before.read and names_lye(step.before.id) and not step.stays
            if lye or isinstance(content, AcidRinse):
                self._times.append(note.at)
                self._lye.append(lye)

    def __call__(self, at: str) -> bool:
        place = bisect_right(self._times, at)
        return bool(place) and self._lye[place - 1]

    def washed(self, at: str) -> bool:
        """Whether there was lye at any time before."""
        return any(lye for time, lye in zip(self._times, self._lye, strict=True) if time < at)


def _is_wash(decant: DecantNote) -> bool:
    """A decant after lye is a wash, but for the spent lye itself."""
    return decant.wash_number is not None or not names_lye(decant.name)


def _washes_read(observations: Sequence[Observation], at_lye: _After) -> int:
    """How many washes after lye the readings' numbers tell; a skipped number was a wash as well."""
    read = [o for o in observations if o.wash is not None and not o.blank and isinstance(o.reading, LoggedPh)]
    after = [o.wash for o in read if o.wash is not None and at_lye(o.at)]
    if not after:
        return 0
    before = max((o.wash for o in read if o.wash is not None and not at_lye(o.at)), default=0)
    return max(after) - before if min(after) > before else max(after)
