"""The stock vessel planned, for command line and HTTP alike: what it holds, what comes first, what takes it down."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass
from typing import Any

from service.bench.quantities import typed_parts
from service.bench.vessel import waste
from service.bench.vessel.bottles import Bottle
from service.bench.vessel.contents import Poured
from stripread.errors import CallError
from stripread.words import _


@dataclass(frozen=True)
class WastePlan:
    """The vessel, the ways to neutralise it (none where nothing may be), what to have back, cautions."""

    stock: waste.Stock
    ways: tuple[waste.Neutralise, ...]
    recover: tuple[str, ...]
    cautions: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """As JSON has it."""
        return {**asdict(self), "stock": self.stock.to_dict()}

    @property
    def lines(self) -> list[str]:
        """The plan in words; what comes first stands first."""
        lines = [
            *(f"! {text}" for text in self.stock.first),
            _("{litres:.3g} L. {sentence}", litres=self.stock.litres, sentence=self.stock.sentence),
            "",
        ]
        if self.ways:
            lines += [_("To neutralise, one of:"), *(f"  {way.sentence}" for way in self.ways), ""]
        elif self.stock.first:
            lines += [_("No way to neutralise it is given: the lines above come first."), ""]
        return [*lines, *self.recover[:-1], *(f"! {text}" for text in self.cautions)]


def waste_plan(poured: list[Poured], bottles: Sequence[Bottle] = ()) -> WastePlan:
    """Plan for a vessel into which ``poured`` went, with one's own ``bottles`` where there are any.

    Raises
    ------
    CallError
        Asking about a word that nobody knows.
    ValueError
        For a volume below 0.
    """
    questions = [question for one in poured for question in one.questions()]
    if questions:
        raise CallError(questions[0])
    held = waste.stock(poured, bottles=bottles)
    return WastePlan(held, waste.ways(held, bottles), waste.recover(held), waste.cautions(held))


def poured_of_text(
    text: str, place: int, words: tuple[str, ...] = (), ammonia: bool = False, option: str | None = None
) -> Poured:
    """ "LITRES:PH", "LITRES:PH:LOW:HIGH" or "LITRES" as one pouring; ``words`` are its metals and other contents.

    Raises
    ------
    CallError
        If it can't be read.
    """
    name = option or _("poured")
    form = _("LITRES:PH or LITRES:PH:LOW:HIGH (LITRES alone where nobody read it)")
    n = typed_parts(name, text, ("litres", "ph", "ph", "ph"), 1, form)
    if len(n) == 3 or (len(n) == 4 and not n[2] <= n[1] <= n[3]):
        raise CallError(_("{option}: give {form}, not {text!r}", option=name, form=form, text=text))
    interval = (n[2], n[3]) if len(n) == 4 else None
    return Poured(f"no. {place}", n[0], n[1] if len(n) > 1 else None, interval, metals=words, ammonia=ammonia)
