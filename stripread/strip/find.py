"""The strips in the lane, found from the picture: where each lies, in what order, and what speaks against them."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from stripread.card.layout import layout
from stripread.errors import Refused
from stripread.reasons import Reason, because
from stripread.strip.kind_fits import PAD_SEEN
from stripread.strip.lane import LaneMap, lane_map
from stripread.strip.one_strip import FoundStrip, measure_strip, outline, seen_outline
from stripread.strip.rest import Left, something_left, without
from stripread.strip.search import Place, search
from stripread.strip.touching import EDGE_COLOUR, colour_between, crowded, entangled
from stripread.tuned import tuned

if TYPE_CHECKING:
    from stripread.card.view import CardView
    from stripread.kind import StripKind

Array = NDArray[np.float64]

_TUNED = tuned("stripread.strip")
CARRIER_SEEN = _TUNED.number("carrier_seen")
SECOND_SHARE = _TUNED.number("second_share")
MOST_STRIPS = 3  # that a lane holds
ROUNDS = 2  # of looking for strips anew with the others taken out
NO_STRIP_OF_KIND = frozenset({"no_strip", "wrong_kind"})


@dataclass(frozen=True)
class Unread:
    """Something that lies in the lane like a strip and can't be used: about where, corners (4, 2) mm, and why."""

    outline_mm: Array
    reason: Reason

    @property
    def y_mm(self) -> float:
        """How far down the card it lies."""
        return float(self.outline_mm[:, 1].mean())


@dataclass(frozen=True)
class InLane:
    """All that lies in and near the lane, the one nearest the card's top edge first.

    strips: at least one. unread: what looks like a strip of this kind beside them and can't be used. foreign: clear
    colour that is left and no strip of this kind, None where there is none.
    """

    strips: tuple[FoundStrip, ...]
    unread: tuple[Unread, ...] = ()
    foreign: Left | None = None


def find_strips(view: CardView, kind: StripKind) -> tuple[FoundStrip, ...]:
    """Find the strips in and near the lane, the one nearest the card's top edge first.

    Raises
    ------
    Refused
        As ``find_in_lane``.
    """
    return find_in_lane(view, kind).strips


def find_in_lane(view: CardView, kind: StripKind) -> InLane:
    """Find the strips in and near the lane, up to ``MOST_STRIPS``, and what else lies there.

    Raises
    ------
    Refused
        ``no_strip`` when the lane is empty, ``wrong_kind`` when what lies there has other pads, ``shadow_on_pads`` or
        ``glare_on_pads`` when the pads can't be used; of several strips, when that is so of all of them.
        ``strips_touch`` where strips lie too near one another to be told apart.
    """
    lane = lane_map(view, layout())
    first = search(lane, kind)
    if first.pad_score < PAD_SEEN / 4 and first.carrier_score < CARRIER_SEEN:
        raise Refused(because("no_strip"))
    seen = seen_outline(view, lane, first, kind) if kind.is_roll else outline(first, kind)
    left = something_left(without(lane, seen))
    if left is None:
        alone = measure_strip(view, lane, first, kind)
        if crowded(alone.width_mm, alone.edge_colour, kind):
            raise Refused(because("strips_touch"))
        return InLane((alone,))
    places, outlines = [first], [seen_outline(view, lane, first, kind)]
    while len(places) < MOST_STRIPS:
        rest = without(lane, *outlines)
        left = something_left(rest)
        place = search(rest, kind) if left is not None else None
        if place is None or place.pad_score <= max(SECOND_SHARE * first.pad_score, PAD_SEEN):
            break
        places.append(place)
        outlines.append(seen_outline(view, rest, place, kind))
    else:
        left = something_left(without(lane, *outlines))
    found, unread = _measured(view, lane, places, outlines, kind)
    if len(places) > 1 and (unread or _overlap(found, unread)):
        # Each was looked for while others lay beside it: their carriers hide its own, and so how it is turned.
        others = _looked_for_again(view, lane, places, found, unread, kind)
        more = len(others[0]) - len(found)
        if (more > 0 or (more == 0 and not _overlap(*others))) and _apart(lane, others[0]):
            found, unread = others
    if _overlap(found, unread):
        raise Refused(because("strips_touch"))
    if not found:
        raise Refused(unread[0].reason)
    strips = tuple(sorted(found.values(), key=lambda strip: float(strip.outline_mm[:, 1].mean())))
    if len(places) == 1 and crowded(strips[0].width_mm, strips[0].edge_colour, kind):
        raise Refused(because("strips_touch"))
    return InLane(strips, tuple(unread.values()), left)


def _overlap(found: dict[int, FoundStrip], unread: dict[int, Unread]) -> bool:
    """Whether strips lie one over another, or one over what looks like a strip of another kind."""
    others = [one.outline_mm for one in unread.values() if one.reason.code == "wrong_kind"]
    return entangled([strip.outline_mm for strip in found.values()], others)


def _apart(lane: LaneMap, found: dict[int, FoundStrip]) -> bool:
    """Whether bare paper lies between strips: each was measured as if the others were none."""
    outlines = sorted((strip.outline_mm for strip in found.values()), key=lambda outline: float(outline[:, 1].mean()))
    return all(colour_between(lane, one, other) < EDGE_COLOUR for one, other in pairwise(outlines))


def _measured(
    view: CardView, lane: LaneMap, places: list[Place], outlines: list[Array], kind: StripKind
) -> tuple[dict[int, FoundStrip], dict[int, Unread]]:
    """As ``_measure_all``, and once more with what turned out to be no strip of this kind back in the picture."""
    found, unread = _measure_all(view, lane, places, outlines, kind)
    if any(one.reason.code in NO_STRIP_OF_KIND for one in unread.values()):
        # What is no strip hides nothing: its colours count again as what lies beside the others.
        held = sorted(found)
        found, dropped = _measure_all(view, lane, [places[n] for n in held], [found[n].outline_mm for n in held], kind)
        found = {held[n]: one for n, one in found.items()}
        unread |= {held[n]: one for n, one in dropped.items()}
    return found, unread


def _looked_for_again(  # noqa: PLR0917 - what was found so far
    view: CardView,
    lane: LaneMap,
    places: list[Place],
    found: dict[int, FoundStrip],
    unread: dict[int, Unread],
    kind: StripKind,
) -> tuple[dict[int, FoundStrip], dict[int, Unread]]:
    """Each place looked for anew with all the others taken out, the least sure first; strips, and what is none."""
    outlines = [found[n].outline_mm if n in found else unread[n].outline_mm for n in range(len(places))]
    found, unread, places = dict(found), dict(unread), list(places)
    for _round in range(ROUNDS):
        for n in sorted(range(len(places)), key=lambda n: (n in found, places[n].carrier_score)):
            rest = without(lane, *(other for k, other in enumerate(outlines) if k != n))
            place = search(rest, kind)
            if place.pad_score <= PAD_SEEN:
                continue
            places[n] = place
            found.pop(n, None)
            unread.pop(n, None)
            try:
                found[n] = measure_strip(view, rest, place, kind)
                outlines[n] = found[n].outline_mm
            except Refused as refused:
                outlines[n] = seen_outline(view, rest, place, kind)
                unread[n] = Unread(outlines[n], refused.reason)
        if not unread and not _overlap(found, unread):
            break
    return found, unread


def _measure_all(
    view: CardView, lane: LaneMap, places: list[Place], outlines: list[Array], kind: StripKind
) -> tuple[dict[int, FoundStrip], dict[int, Unread]]:
    """Each place measured with the others' outlines (4, 2) mm taken out, by its number: strips, and what is none."""
    found: dict[int, FoundStrip] = {}
    unread: dict[int, Unread] = {}
    outlines = list(outlines)
    for n in range(len(places) - 1, -1, -1):  # the best last: all that lies beside it is known by then
        # Another strip's edge beside the pads is no shadow's, and its carrier is no bare paper.
        others = [other for k, other in enumerate(outlines) if k != n]
        try:
            found[n] = measure_strip(view, without(lane, *others) if others else lane, places[n], kind)
            outlines[n] = found[n].outline_mm
        except Refused as refused:
            unread[n] = Unread(outlines[n], refused.reason)
    return found, unread
