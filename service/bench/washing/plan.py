"""A washing plan in words and figures: washes to neutral, how to split the water, what readings already say."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field

from service.bench.chemistry.water import RinseWater, liquid_ph
from service.bench.stages.gate_kinds import NEUTRAL
from service.bench.washing.decant import Split, best_split, retained_share, splits
from service.bench.washing.forecast import TOLERANCE, Forecast, forecast
from service.bench.washing.phases import named_water
from service.bench.washing.posterior import Prior
from service.bench.washing.reading import Reading
from service.bench.washing.stalls import chalk_g, chalk_sentence
from stripread.words import N_, _, say

WORSE = 1.5  # dead corners: the share held back is up to this much larger than volume over volume; common practice
CHALK_WASHES = 4  # after lye, hard water drops its chalk in these
HARD = 1e-3  # mol/L alkalinity

HARD_WATER = N_(
    "Hard water: the pH jumps to neutral in one wash while copper may fall pale green into the "
    "white; the clear liquid then tests clean. Wash with soft or slightly acid water until "
    "copper is gone, use this water after."
)
REALITY = N_("Hot water, salt, clots and paper make it slower than the sum: go by the readings.")


@dataclass(frozen=True)
class WashCount:
    """Washes to neutral, None for very many: if ideal, and with dead corners; the share held back, the water's pH."""

    ideal: int | None
    dead_corners: int | None
    share: float
    water_ph: float


@dataclass
class WashPlan:
    """The plan: ``said`` in sentences, ``lines`` to print, and the figures of what could be worked out."""

    said: list[str] = field(default_factory=list)
    lines: list[str] = field(default_factory=list)
    washes: WashCount | None = None
    splits: tuple[Split, ...] = ()
    best: int | None = None
    caution: str | None = None
    forecast: Forecast | None = None

    def to_dict(self) -> dict[str, object]:
        """JSON-ready, with what was worked out and nothing else."""
        found: dict[str, object] = {"said": self.said}
        if self.washes is not None:
            n = self.washes
            found["washes"] = {
                "ideal": n.ideal,
                "with dead corners": n.dead_corners,
                "share": n.share,
                "water_ph": n.water_ph,
            }
        if self.splits:
            found |= {"splits": [asdict(row) for row in self.splits], "best": self.best}
        if self.caution is not None:
            found["caution"] = self.caution
        if self.forecast is not None:
            found["forecast"] = asdict(self.forecast)
        return found


def ideal_washes(share: float, start: float, water: RinseWater, most: int = 60) -> int | None:
    """Whole washes until an ideal wash reads neutral (inside the band or like the water); None if over ``most``."""
    own = water.ph(0.3)
    for n in range(most + 1):
        left = share**n
        ph = float(liquid_ph(start * left, left, water, 0.3))
        if NEUTRAL[0] <= ph <= NEUTRAL[1] or abs(ph - own) <= TOLERANCE:
            return n
    return None


def _part(share: float) -> str:
    """A share in words: percent while that can be read, else 1 part in so many."""
    return (
        _("{share:.2g} %", share=100 * share)
        if share >= 1e-3
        else _("1 part in {parts:,.0f}", parts=float(f"{1 / share:.2g}"))
    )


def wash_plan(
    *,
    retained_l: float,
    volume_l: float | None,
    added_l: float | None,
    start: float,
    water: str,
    alkalinity: float | None,
    readings: list[Reading],
) -> WashPlan:
    """The plan for these volumes (L), this first liquid (mol/L, lye below 0), water and readings so far.

    Raises
    ------
    ValueError
        For volumes not above 0, acid beyond 12 mol/L, or tap water without its alkalinity and without readings.
    """
    if not 0.0 < abs(start) <= 12.0 or not math.isfinite(start):
        raise ValueError(_("the first liquid's acid or lye must lie between 0 and 12 mol/L"))
    rinse = named_water(water, alkalinity)
    if rinse is None and not readings:
        raise ValueError(
            _("tap water needs its alkalinity (in mmol/L: 1 is 50 mg/L as CaCO3), or readings to tell it by")
        )
    plan = WashPlan()
    said, lines = plan.said, plan.lines
    share = None if added_l is None else retained_share(retained_l, added_l)
    if share is not None and rinse is not None:
        few, many = ideal_washes(share, start, rinse), ideal_washes(min(0.95, WORSE * share), start, rinse)
        plan.washes = WashCount(few, many, share, rinse.ph(0.3))
        most = "over 60" if many is None else f"{many}"
        ideal = "over 60" if few is None else f"{few}"
        lines.append(
            _(
                "Held back {share:.1%} a wash: {ideal} washes if ideal, {most} with dead corners. {reality}",
                share=share,
                ideal=ideal,
                most=most,
                reality=say(REALITY),
            )
        )
        said.append(
            _(
                "About {share:.0f} % is held back in each wash: neutral after {ideal} if it mixes well, {most} if not.",
                share=100 * share,
                ideal=ideal,
                most=most,
            )
        )
        fresh, aired = round(rinse.ph(0.0), 1), round(rinse.ph(1.0), 1)
        own = (
            _("The water's own pH is {fresh:.1f} after standing in air.", fresh=fresh)
            if fresh == aired
            else _(
                "The water's own pH is {fresh:.1f} fresh and {aired:.1f} after standing in air.",
                fresh=fresh,
                aired=aired,
            )
        )
        lines.append(own)
        said.append(own)
    if volume_l is not None:
        rows = splits(volume_l, retained_l)
        # Enough is where the rest is below what the water itself holds back, or a strip can see.
        hold = 0.0 if rinse is None else rinse.alkalinity
        best = best_split(rows, enough=max(2e-6, 0.5 * hold) / abs(start))
        plan.splits, plan.best = rows, best.washes
        once = _part(rows[0].share_left)
        said.append(
            _(
                "All {volume_l:.3g} L in {washes} washes of {portion_l:.3g} L leave {share_left} of the "
                "first liquid, {share_left_high} if it mixes badly; in one wash {once}.",
                volume_l=volume_l,
                washes=best.washes,
                portion_l=best.portion_l,
                share_left=_part(best.share_left),
                share_left_high=_part(best.share_left_high),
                once=once,
            )
        )
        lines += ["", _("portions  litres each  share left (ideal)  with dead corners")]
        for row in rows:
            mark = _("  <- enough") if row is best else ""
            worse = row.share_left_high
            lines.append(
                _(
                    "{washes:8d}  {portion_l:11.3g}  {share_left:18.2g}  {worse:17.2g}{mark}",
                    washes=row.washes,
                    portion_l=row.portion_l,
                    share_left=row.share_left,
                    worse=worse,
                    mark=mark,
                )
            )
    if rinse is not None and rinse.alkalinity >= HARD and start > 0:
        lines.append(say(HARD_WATER))
        plan.caution = say(HARD_WATER)
        said.append(say(HARD_WATER))
    if rinse is not None and start < 0 and added_l is not None:
        chalk = chalk_sentence(chalk_g([added_l] * CHALK_WASHES, 1000.0 * rinse.alkalinity))
        if chalk is not None:
            lines.append(chalk)
            said.append(chalk)
    if readings:
        prior = Prior() if share is None else Prior(share=min(0.5, 1.25 * share), share_ln_sd=0.4)
        found = forecast(readings, rinse, prior=prior)
        plan.forecast = found
        lines.append(found.sentence)
        if found.share is not None:
            fitted = found.share
            lines.append(
                _(
                    "Fitted share held back: {value:.0%} ({low:.0%} to {high:.0%}).",
                    value=fitted.value,
                    low=fitted.low,
                    high=fitted.high,
                )
            )
    if not lines:
        raise ValueError(_("give the water in all, the water added in each wash, or a reading"))
    return plan
