"""Where the silver is: expected, weighed, and a range for each way in which some may be missing.

Each loss has its own small model and its own range; together they are held against the shortfall. Nothing is fitted to
make the sum come out: what the models do not explain is said to be unexplained.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from service.bench.chemistry.reagents import Chloride, Span, silver_share
from service.bench.chemistry.silver import Solubility, ammonia_solubility, chloride_solubility
from stripread.words import _

NO_SPAN: Span = (0.0, 0.0, 0.0)

# Suspended solid in a decant, mg/L (low, value, high), by how the liquid looks or by how long it stood.
# Common practice, no source: a clear liquid shows nothing against a dark edge, milk hides a printed line.
TURBIDITY: dict[str, Span] = {
    "clear": (0.5, 2.0, 8.0),
    "hazy": (5.0, 25.0, 100.0),
    "cloudy": (50.0, 200.0, 800.0),
    "milky": (500.0, 1500.0, 6000.0),
}
SETTLED: tuple[tuple[float, Span], ...] = (  # up to so many hours of settling; common practice, no source
    (0.25, (50.0, 400.0, 3000.0)),
    (1.0, (15.0, 100.0, 800.0)),
    (4.0, (5.0, 30.0, 200.0)),
    (math.inf, (1.0, 8.0, 50.0)),
)
PAPER_G: Span = (0.01, 0.05, 0.3)  # silver in one rinsed filter paper, g; common practice, no source
# mg/L of silver over its oxide: from strong lye to pure water kept from air (tests/data/stall.csv, vessel.csv).
OVER_OXIDE: Span = (0.3, 3.0, 20.0)
# Where nobody knows a decant's chloride: from plain water to an acid of 1 mol/L.
CHLORIDE_UNKNOWN = (0.0, 1.0)
LEAST_SOLUBLE = 0.0025  # mol/L of chloride, where silver chloride dissolves least (tests/data/silver_solubility.csv)
SILVER_IN_OXIDE = 0.93096  # mass share of silver in Ag2O, IUPAC atomic weights
GLASS_G: Span = (0.001, 0.01, 0.05)  # silver stuck on one vessel, g; common practice, no source


@dataclass(frozen=True)
class Decant:
    """One liquid poured off.

    ``chloride`` mol/L, or (low, high) where only that is known, None where nothing is; ``acid`` whether it is
    hydrochloric acid rather than salt or lye.
    """

    name: str
    litres: float
    chloride: float | tuple[float, float] | None = None
    temp_c: float = 25.0
    settled_h: float | None = None
    looks: str | None = None  # a word of TURBIDITY
    acid: bool = True
    solid: str = "chloride"  # what the fines are: chloride, oxide or metal

    @property
    def chloride_range(self) -> tuple[float, float]:
        """mol/L of chloride, (low, high)."""
        if self.chloride is None:
            return CHLORIDE_UNKNOWN
        return self.chloride if isinstance(self.chloride, tuple) else (self.chloride, self.chloride)


@dataclass(frozen=True)
class Loss:
    """One way for silver to go: grams (low, value, high), where it is now, whether it comes back from there.

    Losses of one ``cause`` share their error: if the fines of one decant are at their high end, so are the others'.
    """

    name: str
    silver_g: Span
    where: str
    note: str = ""
    cause: str = ""
    decant: str = ""  # whose fines they are
    sort: str = ""  # "fines" or "dissolved", of which every decant has one
    of: str = ""  # the decant that it is one of


@dataclass(frozen=True)
class Balance:
    """The whole: grams of silver as (low, value, high), yield as share, the losses, and the verdict in a sentence."""

    expected_g: Span
    weighed_g: Span | None
    share: Span | None
    shortfall_g: Span | None
    losses: tuple[Loss, ...]
    explained_g: Span
    verdict: str
    settle_again: tuple[str, ...]  # decants worth it, the richest first
    chalk_g: Span = NO_SPAN  # chalk in what was weighed
    chalk_note: str = ""  # what that rests on


def expected_from_chloride(stock: Chloride) -> Span:
    """Silver in weighed chloride, g."""
    return stock.silver_g


def expected_from_metal(mass_g: float, fineness: tuple[float, float], scale_g: float = 0.0) -> Span:
    """Silver in input metal of fineness (low, high), each 0 to 1.

    Raises
    ------
    ValueError
        For a fineness outside 0-1 or a negative mass.
    """
    low, high = min(fineness), max(fineness)
    if not 0.0 <= low <= high <= 1.0 or not mass_g > 0.0:
        raise ValueError(_("the fineness lies between 0 and 1 (925 parts in a thousand are 0.925), the mass above 0"))
    return max(0.0, mass_g - scale_g) * low, mass_g * 0.5 * (low + high), (mass_g + scale_g) * high


def decant_loss(decant: Decant) -> tuple[Loss, Loss]:
    """Silver dissolved in a decant, and silver carried off with it as fines.

    Raises
    ------
    ValueError
        For a volume below 0 or an unknown word for the turbidity.
    """
    if not decant.litres >= 0.0:
        raise ValueError(_("a volume can't be below 0"))
    if decant.solid not in ("chloride", "oxide", "metal"):
        raise ValueError(_("the fines are chloride, oxide or metal, not {solid!r}", solid=decant.solid))
    dissolved = _times(dissolved_mg_l(decant), decant.litres / 1000.0)
    solids = _solids(decant)
    share = {"chloride": silver_share(), "oxide": SILVER_IN_OXIDE, "metal": 1.0}[decant.solid]
    fines = _times(solids, decant.litres * share / 1000.0)
    note = _("by the settling time") if decant.looks is None and decant.settled_h is not None else ""
    if decant.looks is None and decant.settled_h is None:
        note = _("neither settling time nor turbidity given")
    return (
        Loss(
            _("dissolved in {name}", name=decant.name),
            dissolved,
            _("in the stock vessel"),
            "" if decant.chloride is not None or decant.solid != "chloride" else _("its chloride is not known"),
            f"dissolved over {decant.solid}",
            sort="dissolved",
            of=decant.name,
        ),
        Loss(
            _("fines in {name}", name=decant.name),
            fines,
            _("in the stock vessel, at the bottom"),
            note,
            "fines",
            decant.name,
            sort="fines",
            of=decant.name,
        ),
    )


def dissolved_mg_l(decant: Decant) -> Span:
    """Silver dissolved in a decant by its own chloride and temperature, mg/L."""
    if decant.solid == "oxide":
        return OVER_OXIDE
    low, high = decant.chloride_range
    between = [LEAST_SOLUBLE] if low < LEAST_SOLUBLE < high else []
    held = [_held(c, decant) for c in dict.fromkeys((low, *between, high))]
    # Water where nothing is known, else the middle of what is known.
    value = held[0].mg_l if decant.chloride is None else math.sqrt(held[0].mg_l * held[-1].mg_l)
    # A liquid that did not stand on chloride long is not saturated: the low end takes a third.
    span = min(h.low for h in held) / 3.0, value, max(h.high for h in held)
    return span if decant.solid == "chloride" else (0.0, 0.0, span[2])


def _held(chloride: float, decant: Decant) -> Solubility:
    return chloride_solubility(chloride, decant.temp_c, decant.acid)


def chloride_by_ph(ph: float, interval: tuple[float, float] | None = None) -> tuple[float, float]:
    """Chloride (mol/L) of a wash of hydrochloric acid, (low, high), by its pH and the reading's interval.

    A strip that stands at its end only bounds it: "at most 0" is 1 mol/L or more, up to what is sold (12). Above pH 4
    the acid is gone and the water's own chloride and alkalinity are left: up to some 5 mmol/L.
    """
    low, high = interval or (ph - 0.3, ph + 0.3)
    if high > 4.0:
        return 10.0 ** -min(high, 7.0), max(0.005, 10.0**-low)
    return 10.0**-high, 12.0 if low <= 0.0 else min(12.0, 10.0**-low / 0.75)  # activity of HCl below 1: 0.75 or more


def _solids(decant: Decant) -> Span:
    if decant.looks is not None:
        if decant.looks not in TURBIDITY:
            raise ValueError(
                _("a liquid looks {turbidity}, not {looks!r}", turbidity=", ".join(TURBIDITY), looks=decant.looks)
            )
        return TURBIDITY[decant.looks]
    if decant.settled_h is None:
        return TURBIDITY["clear"][0], TURBIDITY["hazy"][1], TURBIDITY["cloudy"][2]
    return next(span for hours, span in SETTLED if decant.settled_h <= hours)


def ammonia_test_loss(drops_ml: float, strength: float, on_solid: bool = False) -> Loss:
    """Silver that copper checks took: next to nothing out of clear liquid, on solid what it dissolves."""
    if on_solid:
        held = ammonia_solubility(strength)
        span = _times((held.low / 5.0, held.mg_l, held.high), drops_ml / 1e6)
        note = _("explosive on standing: acidify the test at once; then the chloride falls and goes back to the batch")
    else:
        span = _times((0.05, 0.5, 2.0), drops_ml / 1e6)
        note = _("acidified and put back, nothing of it is lost")
    return Loss(_("taken by the ammonia checks"), span, _("in the test vial"), note, "ammonia")


def back_to_chloride_loss(oxide_silver_g: float, acid_mol: float) -> Loss:
    """Silver oxide not yet reduced turns white, to chloride, when the acid rinse meets it.

    ``oxide_silver_g`` is the silver that may still be oxide; the acid turns at most its own moles.
    """
    most = min(oxide_silver_g, acid_mol * 107.8682)
    note = _("reduce before the acid rinse: add sugar until it darkens no more")
    return Loss(
        _("turned back to chloride by the acid rinse"),
        (0.0, 0.5 * most, most),
        _("in the powder, as chloride"),
        note,
        "rinse",
    )


def unconverted_loss(silver_g: float, pale: Span) -> Loss:
    """Chloride left in the powder, from the pale share of its surface as read (low, value, high)."""
    # The eye sees the outside: coats hide chloride inside, so the mass may be a few times the area.
    span = (0.3 * pale[0] * silver_g, pale[1] * silver_g, min(1.0, 3.0 * pale[2]) * silver_g)
    return Loss(
        _("left as chloride"), span, _("in the powder"), _("the surface is seen, the inside is not: factor 3"), "coats"
    )


def filters_and_glass(papers: int, vessels: int) -> tuple[Loss, ...]:
    """Silver in filter papers and on glass. Common practice, no source."""
    losses = []
    if papers:
        note = _("collect the papers wet; rinse nitrate out before any burning")
        losses.append(Loss(_("in filter paper"), _times(PAPER_G, papers), _("in the papers"), note, "paper"))
    if vessels:
        losses.append(
            Loss(
                _("on glass and rods"),
                _times(GLASS_G, vessels),
                _("on the vessels"),
                _("a rinse brings most of it back"),
                "glass",
            )
        )
    return tuple(losses)


def balance(
    expected_g: Span,
    weighed: tuple[float, float] | Span | None,
    losses: tuple[Loss, ...],
    chalk_g: Span = NO_SPAN,
    chalk_note: str = "",
) -> Balance:
    """Hold the losses against the shortfall.

    Parameters
    ----------
    expected_g
        Silver expected (low, value, high), g.
    weighed
        Silver weighed and the scale's uncertainty (half width), g, or its own (low, value, high); None before it is.
    losses
        Each way in which some may be missing.
    chalk_g, chalk_note
        Chalk weighed with the silver, g, and what that rests on.

    Returns
    -------
    Balance; losses of one cause add their ends, those of different causes their deviations in quadrature. Where the
    mass to start from is 0 there is no share.
    """
    ordered = tuple(sorted(losses, key=lambda loss: -loss.silver_g[1]))
    explained = add_by_cause(ordered)
    again = tuple(
        loss.decant for loss in ordered if loss.decant and loss.silver_g[2] >= max(0.05, 0.002 * expected_g[1])
    )
    if weighed is None:
        unweighed = _("Not weighed yet.")
        return Balance(expected_g, None, None, None, ordered, explained, unweighed, again, chalk_g, chalk_note)
    if not expected_g[1] > 0.0:
        empty = _("The mass to start from is 0: strike it out and write the right one down.")
        return Balance(expected_g, None, None, None, ordered, explained, empty, again, chalk_g, chalk_note)
    low, mass, high = weighed if len(weighed) == 3 else (weighed[0] - weighed[1], weighed[0], sum(weighed))
    got = (max(0.0, low - chalk_g[2]), max(0.0, mass - chalk_g[1]), max(0.0, high - chalk_g[0]))
    share = (got[0] / expected_g[2], got[1] / expected_g[1], got[2] / max(expected_g[0], 1e-12))
    down = math.hypot(expected_g[1] - expected_g[0], got[2] - got[1])
    up = math.hypot(expected_g[2] - expected_g[1], got[1] - got[0])
    gap = expected_g[1] - got[1]
    shortfall = (gap - down, gap, gap + up)
    verdict = _verdict(shortfall, explained)
    return Balance(expected_g, got, share, shortfall, ordered, explained, verdict, again, chalk_g, chalk_note)


def _verdict(shortfall: Span, explained: Span) -> str:
    low, mid, high = shortfall
    if high < 0.0:
        return _(
            "{mid:.3g} g more than expected: the powder is not dry, not pure (chloride, copper, salt), "
            "or the input was richer than assumed.",
            mid=-mid,
        )
    if low <= 0.0:
        return _("The weight agrees with what was expected, within the uncertainty of both.")
    if explained[2] < low:
        return _(
            "{mid:.3g} g are missing ({low:.3g} to {high:.3g}); the models explain at most "
            "{explained_2:.2g} g: look for a spill, the input's fineness, or a decant thrown away.",
            mid=mid,
            low=low,
            high=high,
            explained_2=explained[2],
        )
    return _(
        "{mid:.3g} g are missing ({low:.3g} to {high:.3g}); the models explain {explained_1:.2g} g "
        "({explained_0:.2g} to {explained_2:.2g}).",
        mid=mid,
        low=low,
        high=high,
        explained_1=explained[1],
        explained_0=explained[0],
        explained_2=explained[2],
    )


def add_spans(spans: list[Span]) -> Span:
    """Sum of independent ranges: values add, deviations to each side add in quadrature, never below 0."""
    value = sum(s[1] for s in spans)
    down = math.sqrt(sum((s[1] - s[0]) ** 2 for s in spans))
    up = math.sqrt(sum((s[2] - s[1]) ** 2 for s in spans))
    return max(0.0, value - down), value, value + up


def add_by_cause(losses: tuple[Loss, ...]) -> Span:
    """Sum of losses: within one cause the ends add (ten like decants err alike), between causes in quadrature."""
    by_cause: dict[str, Span] = {}
    for i, loss in enumerate(losses):
        cause = loss.cause or f"number {i}"
        low, value, high = by_cause.get(cause, NO_SPAN)
        by_cause[cause] = low + loss.silver_g[0], value + loss.silver_g[1], high + loss.silver_g[2]
    return add_spans(list(by_cause.values()))


def dropping_out(decant: Decant) -> str | None:
    """Whether to dilute a strong decant so that its dissolved chloride falls, or None if it is not worth it."""
    low, high = decant.chloride_range
    if decant.chloride is None or decant.solid != "chloride":
        return None
    chloride = math.sqrt(low * high)
    now = _held(chloride, decant).mg_l * decant.litres
    times = min(10.0, max(1.0, chloride / 0.01))  # more water than that nobody stores
    then = chloride_solubility(chloride / times, 25.0, decant.acid).mg_l * decant.litres * times
    if now - then < 20.0:  # mg
        return None
    return _(
        "{name} holds about {now:.0f} mg of silver; cold and diluted {times:.0f} times it keeps "
        "{then:.0f} mg: let it cool, dilute, settle overnight, and pour the clear part to the stock "
        "vessel.",
        name=decant.name,
        now=now,
        times=times,
        then=then,
    )


def _times(span: Span, factor: float) -> Span:
    return span[0] * factor, span[1] * factor, span[2] * factor
