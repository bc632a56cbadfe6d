"""Portions and pictures of a batch's own log, for the stage that it is in."""

from __future__ import annotations

from collections.abc import Sequence

from service.bench.chemistry.reagents import Span
from service.bench.dosing.by_portions import DONE, Portion, Portions, by_portions
from service.bench.notes import Note, ReagentUsed
from service.bench.readings import LoggedSolid, Observation
from service.bench.stages.gate_kinds import Gate, PaleBelow, parts_of


def portions_of(
    gate: Gate, read: Sequence[str], notes: Sequence[Note], here: Sequence[Observation], since: str
) -> Portions | None:
    """The portions of the reagent that was used last in this stage, each with the last picture before the next one.

    Parameters
    ----------
    gate, read
        Of the stage: its limit of the pale share counts as the end, and a stage that reads no solid has no portions.
    notes, here
        Those that count, and the readings of this stage, each in the order of time.
    since
        When the stage began (ISO time).

    Returns
    -------
    None where fewer than two portions, or no picture with a share, are there: nothing is dosed to an end.
    """
    used = [(n.at, n.content) for n in notes if isinstance(n.content, ReagentUsed) and n.at >= since]
    weighed = [(at, c.grams, _name(c.what)) for at, c in used if c.grams is not None]
    if "solid" not in read or not weighed:
        return None
    of_last = [(at, grams) for at, grams, name in weighed if name == weighed[-1][2]]
    seen = [(o.at, pale) for o in here if (pale := _pale(o)) is not None]
    if not seen or len(of_last) < 2:
        return None
    made = [Portion(0.0, _last(seen, "", of_last[0][0]))]
    for place, (at, grams) in enumerate(of_last):
        until = of_last[place + 1][0] if place + 1 < len(of_last) else "~"
        made.append(Portion(grams, _last(seen, at, until)))
    limits = [part.share for part in parts_of(gate) if isinstance(part, PaleBelow)]
    return by_portions(made, limits[0] if limits else DONE)


def _last(seen: Sequence[tuple[str, Span]], after: str, until: str) -> Span | None:
    found = [pale for at, pale in seen if after <= at < until]
    return found[-1] if found else None


def _pale(seen: Observation) -> Span | None:
    solid = seen.reading
    if (
        not isinstance(solid, LoggedSolid)
        or solid.refused
        or solid.doubtful
        or solid.pale_fraction is None
        or not solid.pale_interval
    ):
        return None
    low, high = solid.pale_interval
    return low, min(max(solid.pale_fraction, low), high), high


def _name(what: str) -> str:
    return " ".join(what.casefold().split())
