"""Where the silver is: expected, weighed, and a range for each way in which some may be missing.

Each loss has its own small model and its own range; together they are held against the shortfall. Nothing is fitted to
make the sum come out: what the models do not explain is said to be unexplained.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from service.bench.reagents import Chloride, Span, silver_share
from service.bench.silver import ammonia_solubility, chloride_solubility

NO_SPAN: Span = (0.0, 0.0, 0.0)

# Suspended solid in a decant, mg/L (low, value, high), by how the liquid looks or by how long it stood.
# Common practice, no source: a clear liquid shows nothing against a dark edge, milk hides a printed line.
TURBIDITY: dict[str, Span] = {
    "clear": (0.5, 2.0, 8.0),
    "hazy": (5.0, 25.0, 100.0),
    "cloudy": (50.0, 200.0, 800.0),
    "milky": (500.0, 1500.0, 6000.0),
}
SETTLED: tuple[tuple[float, Span], ...] = (  # up to so many hours of settling
    (0.25, (50.0, 400.0, 3000.0)),
    (1.0, (15.0, 100.0, 800.0)),
    (4.0, (5.0, 30.0, 200.0)),
    (math.inf, (1.0, 8.0, 50.0)),
)
PAPER_G: Span = (0.01, 0.05, 0.3)  # silver in one rinsed filter paper, g; common practice, no source
GLASS_G: Span = (0.001, 0.01, 0.05)  # silver stuck on one vessel, g; common practice, no source


@dataclass(frozen=True)
class Decant:
    """One liquid poured off. ``chloride`` mol/L; ``acid`` whether it is hydrochloric acid rather than salt or lye."""

    name: str
    litres: float
    chloride: float = 0.001
    temp_c: float = 25.0
    settled_h: float | None = None
    looks: str | None = None  # a word of TURBIDITY
    acid: bool = True
    solid: str = "chloride"  # what the fines are: chloride or metal (oxide counts as metal)


@dataclass(frozen=True)
class Loss:
    """One way for silver to go: grams (low, value, high), where it is now, whether it comes back from there."""

    name: str
    silver_g: Span
    where: str
    note: str = ""


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
    if not 0.0 <= low <= high <= 1.0 or mass_g < 0.0:
        raise ValueError("the fineness lies between 0 and 1 (925 parts in a thousand are 0.925), the mass above 0")
    return max(0.0, mass_g - scale_g) * low, mass_g * 0.5 * (low + high), (mass_g + scale_g) * high


def decant_loss(decant: Decant) -> tuple[Loss, Loss]:
    """Silver dissolved in a decant, and silver carried off with it as fines.

    Raises
    ------
    ValueError
        For a volume below 0 or an unknown word for the turbidity.
    """
    if decant.litres < 0.0:
        raise ValueError("a volume can't be below 0")
    held = chloride_solubility(decant.chloride, decant.temp_c, decant.acid)
    # A liquid that did not stand on chloride long is not saturated: the low end takes a third.
    dissolved = _times((held.low / 3.0, held.mg_l, held.high), decant.litres / 1000.0)
    if decant.solid != "chloride":
        dissolved = (0.0, 0.0, dissolved[2])
    solids = _solids(decant)
    share = silver_share() if decant.solid == "chloride" else 1.0
    fines = _times(solids, decant.litres * share / 1000.0)
    note = "by the settling time" if decant.looks is None and decant.settled_h is not None else ""
    if decant.looks is None and decant.settled_h is None:
        note = "neither settling time nor turbidity given"
    return (
        Loss(f"dissolved in {decant.name}", dissolved, "in the stock vessel"),
        Loss(f"fines in {decant.name}", fines, "in the stock vessel, at the bottom", note),
    )


def _solids(decant: Decant) -> Span:
    if decant.looks is not None:
        if decant.looks not in TURBIDITY:
            raise ValueError(f"a liquid looks {', '.join(TURBIDITY)}, not {decant.looks!r}")
        return TURBIDITY[decant.looks]
    if decant.settled_h is None:
        return TURBIDITY["clear"][0], TURBIDITY["hazy"][1], TURBIDITY["cloudy"][2]
    return next(span for hours, span in SETTLED if decant.settled_h <= hours)


def ammonia_test_loss(drops_ml: float, strength: float, on_solid: bool = False) -> Loss:
    """Silver that copper checks took: next to nothing out of clear liquid, on solid what it dissolves."""
    if on_solid:
        held = ammonia_solubility(strength)
        span = _times((held.low / 5.0, held.mg_l, held.high), drops_ml / 1e6)
        note = "explosive on standing: acidify the test at once; then the chloride falls and goes back to the batch"
    else:
        span = _times((0.05, 0.5, 2.0), drops_ml / 1e6)
        note = "acidified and put back, nothing of it is lost"
    return Loss("taken by the ammonia checks", span, "in the test vial", note)


def back_to_chloride_loss(oxide_silver_g: float, acid_mol: float) -> Loss:
    """Silver oxide not yet reduced turns white, to chloride, when the acid rinse meets it.

    ``oxide_silver_g`` is the silver that may still be oxide; the acid turns at most its own moles.
    """
    most = min(oxide_silver_g, acid_mol * 107.8682)
    note = "reduce before the acid rinse: add sugar until it darkens no more"
    return Loss(
        "turned back to chloride by the acid rinse", (0.0, 0.5 * most, most), "in the powder, as chloride", note
    )


def unconverted_loss(silver_g: float, pale: Span) -> Loss:
    """Chloride left in the powder, from the pale share of its surface as read (low, value, high)."""
    # The eye sees the outside: coats hide chloride inside, so the mass may be a few times the area.
    span = (0.3 * pale[0] * silver_g, pale[1] * silver_g, min(1.0, 3.0 * pale[2]) * silver_g)
    return Loss("left as chloride", span, "in the powder", "the surface is seen, the inside is not: factor 3")


def filters_and_glass(papers: int, vessels: int) -> tuple[Loss, ...]:
    """Silver in filter papers and on glass. Common practice, no source."""
    losses = []
    if papers:
        note = "collect the papers wet; rinse nitrate out before any burning"
        losses.append(Loss("in filter paper", _times(PAPER_G, papers), "in the papers", note))
    if vessels:
        losses.append(
            Loss("on glass and rods", _times(GLASS_G, vessels), "on the vessels", "a rinse brings most of it back")
        )
    return tuple(losses)


def balance(expected_g: Span, weighed: tuple[float, float] | None, losses: tuple[Loss, ...]) -> Balance:
    """Hold the losses against the shortfall.

    Parameters
    ----------
    expected_g
        Silver expected (low, value, high), g.
    weighed
        Silver weighed and the scale's uncertainty (half width), g; None before it is weighed.
    losses
        Each way in which some may be missing.

    Returns
    -------
    Balance; sums of ranges add the deviations in quadrature (independent losses), never the ends.
    """
    ordered = tuple(sorted(losses, key=lambda loss: -loss.silver_g[1]))
    explained = add_spans([loss.silver_g for loss in ordered])
    again = tuple(
        loss.name.removeprefix("fines in ")
        for loss in ordered
        if loss.name.startswith("fines in ") and loss.silver_g[2] >= max(0.05, 0.002 * expected_g[1])
    )
    if weighed is None:
        return Balance(expected_g, None, None, None, ordered, explained, "Not weighed yet.", again)
    mass, scale = weighed
    got = (max(0.0, mass - scale), mass, mass + scale)
    share = (got[0] / expected_g[2], mass / expected_g[1], got[2] / max(expected_g[0], 1e-12))
    down = math.hypot(expected_g[1] - expected_g[0], scale)
    up = math.hypot(expected_g[2] - expected_g[1], scale)
    gap = expected_g[1] - mass
    shortfall = (gap - down, gap, gap + up)
    return Balance(expected_g, got, share, shortfall, ordered, explained, _verdict(shortfall, explained), again)


def _verdict(shortfall: Span, explained: Span) -> str:
    low, mid, high = shortfall
    if high < 0.0:
        return (
            f"{-mid:.3g} g more than expected: the powder is not dry, not pure (chloride, copper, salt), "
            "or the input was richer than assumed."
        )
    if low <= 0.0:
        return "The weight agrees with what was expected, within the uncertainty of both."
    if explained[2] < low:
        return (
            f"{mid:.3g} g are missing ({low:.3g} to {high:.3g}); the models explain at most {explained[2]:.2g} g: "
            "look for a spill, the input's fineness, or a decant thrown away."
        )
    return (
        f"{mid:.3g} g are missing ({low:.3g} to {high:.3g}); the models explain {explained[1]:.2g} g "
        f"({explained[0]:.2g} to {explained[2]:.2g})."
    )


def add_spans(spans: list[Span]) -> Span:
    """Sum of independent ranges: values add, deviations to each side add in quadrature, never below 0."""
    value = sum(s[1] for s in spans)
    down = math.sqrt(sum((s[1] - s[0]) ** 2 for s in spans))
    up = math.sqrt(sum((s[2] - s[1]) ** 2 for s in spans))
    return max(0.0, value - down), value, value + up


def dropping_out(decant: Decant) -> str | None:
    """Whether to dilute a strong decant so that its dissolved chloride falls, or None if it is not worth it."""
    now = chloride_solubility(decant.chloride, decant.temp_c, decant.acid).mg_l * decant.litres
    times = min(10.0, max(1.0, decant.chloride / 0.01))  # more water than that nobody stores
    then = chloride_solubility(decant.chloride / times, 25.0, decant.acid).mg_l * decant.litres * times
    if now - then < 20.0:  # mg
        return None
    return (
        f"{decant.name} holds about {now:.0f} mg of silver; cold and diluted {times:.0f} times it keeps {then:.0f} mg: "
        "let it cool, dilute, settle overnight, and pour the clear part to the stock vessel."
    )


def _times(span: Span, factor: float) -> Span:
    return span[0] * factor, span[1] * factor, span[2] * factor
