"""The stock vessel: what it holds in words, and what neutralises it, slowly; what must be done before anything else.

Strips saturate: a reading at the end of its range says "at least". No drain is ever suggested here.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import asdict, dataclass, replace
from typing import Any

from service.bench.chemistry.reagents import NEUTRALISING_KJ_MOL, RULES, Span, portions, temperature_rise, written
from service.bench.vessel.bottles import Bottle, with_bottles
from service.bench.vessel.contents import EMPTY, NONE, Base, Contents, Poured, acid_in, contents_of
from service.bench.vessel.hazards import Stop, stops_between, stops_within
from service.bench.vessel.neutralisers import Bought, Neutraliser, neutralisers
from service.bench.vessel.solubility import in_solution
from service.bench.vessel.substances import Kind
from stripread.words import N_, _, number, say

__all__ = ["NO_DRAIN", "Neutralise", "Poured", "Stock", "acid_in", "cautions", "neutralise", "recover", "stock", "ways"]

NO_DRAIN = N_(
    "Nothing of this goes down a drain, neutral or not: silver and copper poison water life in "
    "traces. Keep it labelled and closed, and hand it to the licensed collection; ask the local "
    "authority first."
)
# Sources: tests/data and service/bench/data/hazards.toml; practice from memory, not looked up.
_SETTLES = N_(
    "Silver settles as chloride: add salt first. Copper settles at pH 9 to 10. Above 10 some metals dissolve again."
)
_CAUTIONS = (
    N_(
        "Pour acid waste into alkaline waste slowly, stirring, with room to foam; it warms up. "
        "Dilute both below 1 mol/L first."
    ),
    _SETTLES,
    N_(
        "Nothing with ammonia and silver goes in unacidified, and nothing alkaline goes to them: it "
        "can turn explosive. Ammonia also keeps metals dissolved. Test vials never go into a lye "
        "vessel."
    ),
    N_("Never bleach, cyanide or sulfide near acid, never bleach with ammonia."),
    N_("Zinc, iron or aluminium in acid, and zinc or aluminium in lye, give hydrogen: open vessel, no flame."),
)
SETTLING_PH = 9.5  # where silver and copper leave the liquid best: tests/data/vessel.csv
USUAL_CITRATE = 0.05  # mol/L where nobody said: from there on all of 100 mg/L copper stay (tests/data/vessel.csv)
_AMMONIA_SILVER = (
    N_("Silver with ammonia: never make it alkaline, it can turn explosive. Nothing here may be neutralised."),
    N_(
        "First, in a draught and slowly: dilute hydrochloric acid until a strip reads pH 2 or "
        "below{acid}; most of the silver falls as white chloride (about {left} mg/L stay). Settle, "
        "pour the clear off, keep the white wet."
    ),
    N_(
        "The liquid that is left stays acid and goes to the licensed collection as silver waste with "
        "ammonia. No lye, no sugar."
    ),
)


@dataclass(frozen=True)
class Stock:
    """What the vessel holds: litres; mol of acid (positive) or lye (negative) as (low, value, high).

    ``at_least`` says that a saturated strip went into the sum, so that the true amount may be far larger. ``side`` is
    "acid", "lye" or "unknown": what is in it for certain; "neither" when it is empty or holds next to nothing of both.
    ``contents`` are the kinds in it, ``silver`` the form the silver has, ``stops`` the dangers that it holds by what
    was poured in, ``questions`` what must be asked first, ``first`` the steps that come before anything else.
    """

    litres: float
    mol: Span
    at_least: bool
    metals: tuple[str, ...]
    ammonia: bool
    side: str
    sentence: str
    contents: tuple[str, ...] = ()
    silver: str = "none"
    stops: tuple[Stop, ...] = ()
    questions: tuple[str, ...] = ()
    first: tuple[str, ...] = ()
    poured: tuple[Poured, ...] = ()
    held: Contents = EMPTY

    def to_dict(self) -> dict[str, Any]:
        """As JSON has it: ``held`` is only worked with."""
        return {name: value for name, value in asdict(self).items() if name != "held"}


@dataclass(frozen=True)
class Neutralise:
    """One way to neutralise: pure grams (low, value, high), as it is sold, heat, portions, the pH it ends at.

    ``metals`` says what becomes of those in the vessel; ``sentence`` how to go about it.
    """

    what: str
    grams: Span
    rise_k: float
    portions: int
    sentence: str
    as_bought: tuple[Bought, ...]
    end_ph: tuple[float, float]
    metals: tuple[str, ...]
    cautions: tuple[str, ...]
    source: str


def stock(poured: list[Poured], dangers: tuple[Stop, ...] | None = None, bottles: Sequence[Bottle] = ()) -> Stock:
    """Add up the vessel; ``dangers`` are those that stand by its history, None to work them out from ``poured``.

    Raises
    ------
    ValueError
        For a volume below 0.
    """
    held = contents_of(poured)
    found = stops_within(poured) if dangers is None else dangers
    metals = tuple(dict.fromkeys(m for p in poured for m in p.metals))
    return replace(stock_of(held, metals, found, bottles, empty=not poured), poured=tuple(poured))


def stock_of(
    held: Contents, metals: tuple[str, ...], dangers: tuple[Stop, ...], bottles: Sequence[Bottle] = (), *, empty: bool
) -> Stock:
    """The same of a vessel that was added up already; ``empty`` where nothing went in since it was handed over."""
    return Stock(
        held.litres,
        held.base.mol,
        bool(held.base.ends) or bool(held.base.unknown),
        metals,
        Kind.AMMONIA in held.kinds,
        held.side,
        _("It is empty.") if empty else _sentence(held),
        tuple(sorted(held.kinds)),
        held.silver_form,
        dangers,
        held.questions,
        _first(held, dangers, metals, bottles),
        held=held,
    )


def _sentence(held: Contents) -> str:
    base: Base = held.base
    mol, side = base.mol, held.side
    low, mid, high = sorted(abs(m) for m in mol)
    if side == "neither":
        text = _("Near neutral by what was read: read its pH all the same.")
    elif side != "unknown" and high > 0.0:
        text = _(
            "About {mid} mol of {side} ({low} to {high}).",
            mid=written(mid, 2),
            side=say(side),
            low=written(low, 2),
            high=written(high, 2),
        )
    elif side != "unknown":
        text = _("It holds {side}, nobody wrote down how much: read its pH first.", side=say(side))
    elif mol == (0.0, 0.0, 0.0):
        text = _("How much acid or lye it holds is not known: read its pH first.")
    else:
        text = _(
            "Could be acid or lye: read its pH first, stirred. By what was written down it holds {mol}.",
            mol=_between(mol),
        )
    if base.ends:
        text += _(" A strip stood at its end: read this as at least so much, and check as you go.")
    if base.unknown:
        text += _(" Something went in without a pH.")
    return text


def _between(mol: Span) -> str:
    """ "0.3 mol of lye to 0.5 mol of acid"."""
    ends = [
        _("{m} mol of {word}", m=written(abs(m), 2), word=_("acid") if m >= 0 else _("lye")) for m in (mol[0], mol[2])
    ]
    return _(" to ").join(ends)


def _first(
    held: Contents, found: tuple[Stop, ...], metals: tuple[str, ...], bottles: Sequence[Bottle]
) -> tuple[str, ...]:
    """What comes before any neutralising."""
    steps = [_("Danger in the vessel: {sentence}", sentence=stop.sentence) for stop in found]
    steps += [_("Ask first: {question}", question=question) for question in held.questions]
    if held.silver_form == "with ammonia":
        left = in_solution("silver", 2.0, 1000.0, chloride=0.2)[1]
        steps += [_(text, left=number(left, ".1g"), acid=_acid_first(held, bottles)) for text in _AMMONIA_SILVER]
    elif Kind.AMMONIA in held.kinds and not metals:
        steps.append(
            _(
                "Ammonia went in, and no metal is named: silver with ammonia must never be made alkaline. Is "
                "silver in it? Name the metals; until then it stays acid."
            )
        )
    if held.silver_form == "dissolved":
        steps.append(
            _(
                "Silver, and no chloride named: without it {silver_stays} mg/L stay dissolved at pH 9.5. Add "
                "salt, stir, until nothing more turns white, settle, keep the white; neutralise after.",
                silver_stays=_silver_stays(),
            )
        )
    return tuple(steps)


def _silver_stays() -> str:
    """mg/L of 1 g/L silver that stay dissolved where no chloride is, in words."""
    return _mg_l(in_solution("silver", SETTLING_PH, 1000.0)[1])


def _copper_stays(held: Contents) -> str:
    """mg/L of 100 mg/L copper that stay dissolved beside chloride and the citrate in the vessel, in words."""
    citrate = held.strength(Kind.CITRATE)
    strength = USUAL_CITRATE if citrate is None else citrate[1]
    return _mg_l(in_solution("copper", SETTLING_PH, 100.0, chloride=0.1, citrate=strength)[1])


def _mg_l(dissolved: float) -> str:
    return number(dissolved, ".0f" if dissolved >= 10.0 else ".1g")


def ways(found: Stock, bottles: Sequence[Bottle] = ()) -> tuple[Neutralise, ...]:
    """Each way to neutralise it, the ones that fit its metals; those of one's own ``bottles`` first.

    None while nobody knows whether it is acid or lye, when there is nothing to do, while a danger or a question stands,
    and where nothing may be neutralised (silver with ammonia).
    """
    if found.side not in ("acid", "lye") or found.stops or found.questions or max(abs(m) for m in found.mol) == 0.0:
        return ()
    if found.silver == "with ammonia" or (found.ammonia and not found.metals):
        return ()
    own = {bottle.neutraliser for bottle in bottles}
    return tuple(
        neutralise(found, name, bottles)
        for name, one in sorted(neutralisers().items(), key=lambda item: item[0] not in own)
        if one.side == found.side and not _why_not(found, one)
    )


def _why_not(found: Stock, one: Neutraliser) -> str | None:
    """Why a neutraliser must not go into this vessel, None where it may."""
    sign = -1.0 if one.side == "acid" else 1.0
    bought = Poured(one.trade[0], 0.1, mol=sign * 0.05, contents=(one.word,))
    found_stops = stops_between(found.held, contents_of([bought]))
    if found_stops:
        return found_stops[0].sentence
    if one.formula == "C6H8O7" and {"copper", "metal"} & set(found.contents):
        return _("citric acid keeps copper, nickel, zinc and iron dissolved: take hydrochloric acid")
    return None


def neutralise(found: Stock, by: str, bottles: Sequence[Bottle] = ()) -> Neutralise:
    """How much of ``by`` takes the vessel to neutral.

    Raises
    ------
    ValueError
        For a substance that is no neutraliser here, for the other side, or that must not meet what is in the vessel,
        or while the side is not known.
    """
    one = neutralisers().get(by)
    if one is None:
        raise ValueError(
            _("no such neutraliser: {by!r}; there are {neutralisers}", by=by, neutralisers=", ".join(neutralisers()))
        )
    if found.side not in ("acid", "lye"):
        raise ValueError(_("the vessel could be acid or lye: {by} might add to it; read its pH first", by=by))
    if found.side != one.side:
        raise ValueError(_("the vessel holds {side}: {by} would add to it", side=say(found.side), by=by))
    if why := _why_not(found, one):
        raise ValueError(why)
    one = with_bottles(one, bottles)
    sign = 1.0 if one.side == "acid" else -1.0
    spans = sorted(max(0.0, sign * m) for m in found.mol)
    mol: Span = (spans[0], spans[1], spans[2])
    grams = one.grams(mol)
    rise = temperature_rise(mol[2] * NEUTRALISING_KJ_MOL[1], max(found.litres, 0.05) * 1000.0)
    count = max(5, portions(rise, 5.0))
    bought = one.bought(grams)
    metals = _metals(found, one)
    return Neutralise(
        by,
        grams,
        rise,
        count,
        " ".join([_way(found, one, grams, count), *metals, *map(say, one.cautions)]),
        bought,
        one.end_ph,
        metals,
        tuple(map(say, one.cautions)),
        one.source,
    )


def _metals(found: Stock, one: Neutraliser) -> tuple[str, ...]:
    """What becomes of the metals in the vessel."""
    texts = []
    if found.silver == "dissolved":
        texts.append(say(one.metals["silver"]))
    if Kind.COPPER in found.contents:
        if Kind.CITRATE not in found.contents:
            texts.append(say(one.metals["copper"]))
        else:
            held = found.held
            texts.append(
                _("Citrate is in it: {held} of 100 mg/L copper stay dissolved at pH 9.5.", held=_copper_stays(held))
            )
    if Kind.METAL in found.contents:
        texts.append(say(one.metals["other"]))
    return tuple(texts)


def _way(found: Stock, one: Neutraliser, grams: Span, count: int) -> str:
    more = _(" or more (a strip stood at its end)") if found.at_least else ""
    shop = "; ".join(
        _("{amount} {unit} of {form}", amount=_range(b.amount), unit=b.unit, form=say(b.form))
        for b in one.bought(grams)
    )
    low, high = one.end_ph
    if found.ammonia:
        end = _("stop at pH 6 to 7: ammonia in it keeps copper dissolved at any higher pH, and would gas off.")
    elif Kind.CITRATE in found.contents and {Kind.COPPER, Kind.METAL} & set(found.contents):
        end = _("stop at pH 6 to 8: citrate keeps the metals dissolved at any higher pH; the collection takes them so.")
    elif high < 9.0:
        end = _(
            "it ends at pH {low:g} to {high:g}: the acid is gone, but not all metals settle; finish with "
            "lye or washing soda to pH 9 to 10.",
            low=low,
            high=high,
        )
    else:
        end = _("stop at pH 9 to 10: there the metals settle.")
    return _(
        "{grams} g{more} of {name}, that is {shop}; dissolved or in small spoons, in {count} "
        "portions or more, stirring, waiting and reading the pH after each; {end}",
        grams=_range(grams),
        more=more,
        name=say(one.name),
        shop=shop,
        count=count,
        end=end,
    )


def _range(span: Span) -> str:
    """ "26.1 (20.4 to 33.4)"."""
    low, mid, high = (written(amount) for amount in span)
    return _("{mid} ({low} to {high})", mid=mid, low=low, high=high)


def _acid_first(held: Contents, bottles: Sequence[Bottle]) -> str:
    """How much acid takes an alkaline vessel to pH 2, in words; nothing where it is acid already."""
    if not held.may_be_alkaline or (held.base.unknown and held.base.mol == NONE):
        return ""  # acid already, or nobody wrote down how much of anything is in it
    low, mid, high = held.base.mol
    pure = [max(0.0, -m) + 0.01 * held.litres for m in (high, mid, low)]
    acid = with_bottles(neutralisers()["hydrochloric acid (as HCl)"], bottles)
    bought = acid.bought(acid.grams((pure[0], pure[1], pure[2])))[0]
    low_amount, amount, high_amount = (written(part, 2) for part in bought.amount)
    size = _(
        "{amount} {unit} of {form}, {low_amount} to {high_amount}",
        amount=amount,
        unit=bought.unit,
        form=say(bought.form),
        low_amount=low_amount,
        high_amount=high_amount,
    )
    return _(" (by what was written down {size}; diluted first)", size=size)


def cautions(found: Stock) -> tuple[str, ...]:
    """Cautions for the vessel; none speaks of pH 9 to 10 where nothing may be made alkaline."""
    return tuple(say(text) for text in _CAUTIONS if text != _SETTLES or found.silver != "with ammonia")


def recover(found: Stock) -> tuple[str, ...]:
    """Metals worth having back before the rest is handed over, with the common way."""
    tips = []
    if found.silver not in ("none", "with ammonia"):
        tips.append(
            _("Silver: add salt or a little hydrochloric acid until nothing more turns white; settle, keep the white.")
        )
    if Kind.COPPER in found.contents and not found.ammonia and Kind.CITRATE not in found.contents:
        tips.append(
            _(
                "Copper: falls as pale-blue hydroxide at pH 9 to 10; filter, keep the cake wet and labelled, "
                "hand it over."
            )
        )
    tips.append(say(NO_DRAIN))
    tips.append(say(RULES))
    return tuple(tips)
