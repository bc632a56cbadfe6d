"""One melt in figures: from powder to bars, what went with the slag, and what the bars hold of silver.

Powder loses water, chloride, chalk and dust as it melts, so its loss is no loss of silver by itself. What the slag
holds is bounded twice: by what is missing from powder to bars, and by what slag and crucible gained over the flux.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from service.bench.chemistry.balance import Loss
from service.bench.chemistry.reagents import Span, written
from service.bench.melting.fineness import Fineness
from stripread.words import _

# Share of the slag's mass that is silver, as beads and dissolved: from memory, and wide for it.
IN_SLAG: Span = (0.0005, 0.01, 0.1)
FLUX_LEFT = (0.5, 1.0)  # of the flux's mass once it is molten: borax as sold may be near half water (47 %, by formula)
FLUX_KEPT = 1.0  # times the flux that stays as slag where nobody weighed it; common practice, no source


@dataclass(frozen=True)
class Bar:
    """One bar as weighed, g, half the width of the scale's doubt, how fine it is, when that was noted (ISO 8601)."""

    name: str
    grams: float
    scale_g: float
    fineness: Fineness
    at: str = ""

    @property
    def silver_g(self) -> Span:
        """Silver in it, g; all of it where its fineness is not known."""
        low, value, high = self.fineness.share or (1.0, 1.0, 1.0)
        return max(0.0, self.grams - self.scale_g) * low, self.grams * value, (self.grams + self.scale_g) * high


@dataclass(frozen=True)
class Weighed:
    """What a melt weighed, g: powder and flux in, slag out, the crucible before and after; None where nobody did."""

    powder_g: float | None = None
    flux_g: float | None = None
    slag_g: float | None = None
    crucible_before_g: float | None = None
    crucible_after_g: float | None = None
    scale_g: float = 0.1

    @property
    def gained_g(self) -> float | None:
        """What stayed in the crucible, g; None where it was not weighed twice."""
        if self.crucible_before_g is None or self.crucible_after_g is None:
            return None
        return max(0.0, self.crucible_after_g - self.crucible_before_g)


@dataclass(frozen=True)
class Melt:
    """A melt: its bars, what they weigh and hold of silver, what the powder lost on the way, what the slag may hold.

    Grams as (low, value, high); None where what it takes was not weighed. ``sentences`` say it.
    """

    bars: tuple[Bar, ...]
    bars_g: float
    silver_g: Span
    lost_g: Span | None
    lost_share: float | None
    slag_silver_g: Span | None
    sentences: tuple[str, ...]

    @property
    def loss(self) -> Loss | None:
        """What stays in slag and crucible, as the balance takes it."""
        if self.slag_silver_g is None:
            return None
        note = _("crush the slag, look for beads; keep it and the crucible")
        return Loss(_("in slag and crucible"), self.slag_silver_g, _("in the slag"), note, "slag")


def melt_of(weighed: Weighed, bars: Sequence[Bar]) -> Melt:
    """A melt worked out.

    Raises
    ------
    ValueError
        Where a mass is below 0.
    """
    masses = (weighed.powder_g, weighed.flux_g, weighed.slag_g, weighed.crucible_before_g, weighed.crucible_after_g)
    if any(mass is not None and mass < 0.0 for mass in (*masses, *(bar.grams for bar in bars))):
        raise ValueError(_("a mass can't be below 0"))
    total = float(sum(bar.grams for bar in bars))
    spans = [bar.silver_g for bar in bars]
    # Whoever misjudges the fineness of one bar misjudges the others': the ends add up.
    silver = (sum(s[0] for s in spans), sum(s[1] for s in spans), sum(s[2] for s in spans))
    lost = _lost(weighed, bars, total)
    slag = _slag(weighed, lost) if bars else None
    said = [_bars_line(bars, total, silver), *(f"{bar.name}: {bar.fineness.sentence}" for bar in bars)] if bars else []
    share = None
    if lost is not None and weighed.powder_g:
        share = lost[1] / weighed.powder_g
        said.append(_lost_line(lost, share))
    if slag is not None:
        said.append(
            _(
                "Slag and crucible may hold {value} g of silver ({low} to {high} g): crush the slag, look for beads.",
                value=written(slag[1], 2),
                low=written(slag[0], 2),
                high=written(slag[2], 2),
            )
        )
    return Melt(tuple(bars), total, silver, lost, share, slag, tuple(said))


def _lost(weighed: Weighed, bars: Sequence[Bar], total: float) -> Span | None:
    if not weighed.powder_g or not bars:
        return None
    doubt = weighed.scale_g + sum(bar.scale_g for bar in bars)
    lost = weighed.powder_g - total
    return lost - doubt, lost, lost + doubt


def _bars_line(bars: Sequence[Bar], total: float, silver: Span) -> str:
    low, value, high = (written(x, 4) for x in silver)
    text = _("{bars} bars, {total} g in all", bars=len(bars), total=written(total, 4))
    if len(bars) == 1:
        text = _("One bar of {total} g", total=written(total, 4))
    return _("{text}: {value} g of silver ({low} to {high} g).", text=text, value=value, low=low, high=high)


def _lost_line(lost: Span, share: float) -> str:
    if lost[2] < 0.0:
        return _(
            "The bars weigh {gain} g more than the powder did: a bar of another melt, flux on it, or a wrong weight.",
            gain=written(-lost[1], 2),
        )
    return _(
        "From powder to bar {lost} g were lost ({share:.2%}): water, chloride, chalk, dust, and what the slag keeps.",
        lost=written(max(0.0, lost[1]), 3),
        share=max(0.0, share),
    )


def _slag(weighed: Weighed, lost: Span | None) -> Span | None:
    """Silver in slag and crucible, g: so much of their mass, never more than both bounds leave."""
    if weighed.slag_g is None and weighed.gained_g is None and weighed.flux_g is None:
        return None if lost is None else _bounded((0.0, 0.0, max(0.0, lost[2])), lost)
    return _bounded(in_slag(weighed), lost)


def in_slag(weighed: Weighed) -> Span:
    """Silver in slag and crucible by their own weights, else by the flux, g; what the bars leave is not looked at."""
    low, value, high = silver_of_slag(weighed)
    if weighed.flux_g is None or (weighed.slag_g is None and weighed.gained_g is None):
        return low, value, high
    return low, value, max(high, most_of_slag(weighed))


def silver_of_slag(weighed: Weighed) -> Span:
    """Silver in slag and crucible as slags usually have it, g: so much of their mass, else of the flux's."""
    mass = _glass(weighed)
    return IN_SLAG[0] * mass, IN_SLAG[1] * mass, IN_SLAG[2] * mass


def most_of_slag(weighed: Weighed) -> float:
    """The most silver that slag and crucible can hold by their weights, g.

    More than the flux's own is from the powder: chalk and chloride, or silver.
    """
    mass = _glass(weighed)
    if weighed.slag_g is None and weighed.gained_g is None:
        return mass
    return mass if weighed.flux_g is None else max(0.0, mass - FLUX_LEFT[0] * weighed.flux_g)


def _glass(weighed: Weighed) -> float:
    if weighed.slag_g is None and weighed.gained_g is None:
        return FLUX_KEPT * (weighed.flux_g or 0.0)
    return (weighed.slag_g or 0.0) + (weighed.gained_g or 0.0)


def _bounded(span: Span, lost: Span | None) -> Span:
    if lost is None:
        return span
    most = max(0.0, lost[2])
    low, value, high = (min(x, most) for x in span)
    return low, value, high
