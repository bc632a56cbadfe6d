"""The yield worked out, for command line and HTTP alike: silver expected, where the missing may be, chalk in it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.bench.chemistry.balance import Balance, Decant, balance, decant_loss, dropping_out, filters_and_glass
from service.bench.chemistry.reagents import Span, written
from service.bench.quantities import typed_parts
from service.bench.washing.stalls import chalk_g, chalk_sentence
from service.bench.weighings import NOT_SAID, Weighing, expected_of
from stripread.errors import CallError
from stripread.words import _, say


@dataclass(frozen=True)
class YieldPlan:
    """The balance, the chalk in the powder (g), and what is worth doing."""

    balance: Balance
    chalk_g: Span
    notes: tuple[str, ...]
    tips: tuple[str, ...]

    @property
    def lines(self) -> list[str]:
        """The plan in words."""
        found = self.balance
        lines = [_("Expected          {expected_g}", expected_g=_words(found.expected_g, _("g silver")))]
        if found.share is not None:
            low, value, high = (100.0 * s for s in found.share)
            lines.append(
                _("Yield             {value:.1f} % ({low:.1f} to {high:.1f} %)", value=value, low=low, high=high)
            )
        lines += [found.verdict, *self.notes, "", _("Where some may be, g:")]
        for loss in found.losses:
            more = f" ({loss.note})" if loss.note else ""
            lines.append(f"  {_words(loss.silver_g):32} {loss.name}; {loss.where}{more}")
        return [*lines, _("  {explained_g:32} together", explained_g=_words(found.explained_g)), *self.tips]

    def to_dict(self) -> dict[str, object]:
        """JSON-ready; grams as [low, value, high]."""
        found = self.balance
        return {
            "expected_g": list(found.expected_g),
            "weighed_g": None if found.weighed_g is None else list(found.weighed_g),
            "yield": None if found.share is None else list(found.share),
            "shortfall_g": None if found.shortfall_g is None else list(found.shortfall_g),
            "losses": [
                {"name": x.name, "silver_g": list(x.silver_g), "where": x.where, "note": x.note, "cause": x.cause}
                for x in found.losses
            ],
            "explained_g": list(found.explained_g),
            "verdict": found.verdict,
            "settle_again": list(found.settle_again),
            "chalk_g": list(self.chalk_g),
            "notes": list(self.notes),
        }


def _words(span: Span, unit: str = "") -> str:
    low, value, high = (written(part) for part in span)
    return _("{value} ({low} to {high}){unit}", value=value, low=low, high=high, unit=" " + unit if unit else "")


def yield_plan(
    weighings: Sequence[Weighing],
    weighed: tuple[float, float] | None,
    decants: Sequence[Decant],
    *,
    papers: int = 1,
    glasses: int = 2,
    lye_washes_l: Sequence[float] = (),
    alkalinity_mmol_l: float | None = 0.0,
) -> YieldPlan:
    """Work the yield out.

    Parameters
    ----------
    weighings
        What the batch started from: lots of chloride, or the input metal.
    weighed
        Silver at the end and the scale's uncertainty, g; None before it is weighed.
    lye_washes_l, alkalinity_mmol_l
        Water of each wash after the lye and its alkalinity: the chalk that it drops weighs with the powder.

    Raises
    ------
    ValueError
        For what the parts do not take.
    CallError
        Where nothing was weighed.
    """
    expected = expected_of(weighings)
    if expected is None:
        raise CallError(_("weigh what it starts from first: a mass above 0"))
    losses = [loss for decant in decants for loss in decant_loss(decant)]
    losses += filters_and_glass(papers, glasses)
    chalk = chalk_g(lye_washes_l, alkalinity_mmol_l)
    found = balance(expected, weighed, tuple(losses), chalk)
    said = [say(NOT_SAID)] if any(w.of == "chloride" and w.moisture is None for w in weighings) else []
    said += [text for text in (chalk_sentence(chalk),) if text]
    tips = [_("Settle {name} a second time before it goes.", name=name) for name in found.settle_again]
    tips += [tip for decant in decants if (tip := dropping_out(decant))]
    return YieldPlan(found, chalk, tuple(said), tuple(tips))


def decant_of_text(text: str, place: int, option: str | None = None) -> Decant:
    """ "LITRES:HOURS[:ACID[:TEMP]]" as a decant; an acid left empty ("1:4::95") is not known.

    ``option`` is what it was typed behind, where that has a name.

    Raises
    ------
    WrongQuantity
        If it can't be read.
    """
    shape, name = _("LITRES:HOURS[:ACID[:TEMP]]"), option or _("decant")
    parts = text.split(":")
    if len(parts) == 4 and not parts[2].strip():
        n = typed_parts(name, ":".join([*parts[:2], parts[3]]), ("litres", "settled_h", "temp_c"), 3, shape)
        return Decant(_("decant {place}", place=place), n[0], None, n[2], n[1])
    n = typed_parts(name, text, ("litres", "settled_h", "chloride_mol_l", "temp_c"), 2, shape)
    return Decant(
        _("decant {place}", place=place), n[0], n[2] if len(n) > 2 else None, n[3] if len(n) > 3 else 25.0, n[1]
    )
