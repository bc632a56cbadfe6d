"""Losses of silver as a person reads them: those of one sort in one row, with the largest of them named."""

from __future__ import annotations

from dataclasses import dataclass

from service.bench.chemistry.balance import Balance, Loss, add_by_cause
from service.bench.chemistry.reagents import Span
from stripread.words import _, _n


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
        groups.setdefault((loss.sort or loss.name, loss.where), []).append(loss)  # those of a sort: one of each decant
    return tuple(sorted(map(_together, groups.values()), key=lambda row: -row.silver_g[1]))


def _together(losses: list[Loss]) -> LikeLosses:
    notes = "; ".join(dict.fromkeys(loss.note for loss in losses if loss.note))
    if len(losses) == 1:
        only = losses[0]
        return LikeLosses(only.name, only.silver_g, only.where, notes, None)
    most = max(losses, key=lambda loss: loss.silver_g[1])
    largest = (most.of, most.silver_g) if most.sort else None
    return LikeLosses(_name(most, len(losses)), add_by_cause(tuple(losses)), losses[0].where, notes, largest)


def _name(one: Loss, times: int) -> str:
    if one.sort == "fines":
        return _n("fines in {n} decant", "fines in {n} decants", times)
    if one.sort == "dissolved":
        return _n("dissolved in {n} decant", "dissolved in {n} decants", times)
    return _("{name} ({times} times)", name=one.name, times=times)
