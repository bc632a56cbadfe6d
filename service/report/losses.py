"""Losses of silver as a person reads them: those of one sort in one row, with the largest of them named."""

from __future__ import annotations

from dataclasses import dataclass

from service.bench.chemistry.balance import Balance, Loss, add_by_cause
from service.bench.chemistry.reagents import Span

_SORTS = ("fines in", "dissolved in")  # one loss of each decant


@dataclass(frozen=True)
class LikeLosses:
    """Losses of one sort at one place: their name, grams (low, value, high) in all, where they are, what to say."""

    name: str
    silver_g: Span
    where: str
    note: str
    largest: tuple[str, Span] | None  # of several decants the one that holds most, and how much


def like_losses(found: Balance) -> tuple[LikeLosses, ...]:
    """The balance's losses, those of one sort and place taken together, the largest sum first."""
    groups: dict[tuple[str, str], list[Loss]] = {}
    for loss in found.losses:
        sort = next((s for s in _SORTS if loss.name.startswith(f"{s} ")), loss.name)
        groups.setdefault((sort, loss.where), []).append(loss)
    return tuple(sorted((_together(sort, of) for (sort, _), of in groups.items()), key=lambda row: -row.silver_g[1]))


def _together(sort: str, losses: list[Loss]) -> LikeLosses:
    notes = "; ".join(dict.fromkeys(loss.note for loss in losses if loss.note))
    if len(losses) == 1:
        only = losses[0]
        return LikeLosses(only.name, only.silver_g, only.where, notes, None)
    most = max(losses, key=lambda loss: loss.silver_g[1])
    name = f"{sort} {len(losses)} decants" if sort in _SORTS else f"{sort} ({len(losses)} times)"
    largest = (most.name.removeprefix(f"{sort} "), most.silver_g) if sort in _SORTS else None
    return LikeLosses(name, add_by_cause(tuple(losses)), losses[0].where, notes, largest)
