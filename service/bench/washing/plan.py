"""A washing plan in words and figures: washes to neutral, how to split the water, what readings already say."""

from __future__ import annotations

import math
from dataclasses import asdict, dataclass, field

from service.bench.chemistry.water import RinseWater, liquid_ph
from service.bench.procedure import NEUTRAL
from service.bench.washing.decant import Split, best_split, retained_share, splits
from service.bench.washing.forecast import TOLERANCE, Forecast, forecast
from service.bench.washing.phases import named_water
from service.bench.washing.posterior import Prior
from service.bench.washing.reading import Reading
from service.bench.washing.stalls import chalk_g, chalk_sentence

WORSE = 1.5  # dead corners: the share held back is up to this much larger than volume over volume; common practice
CHALK_WASHES = 4  # after lye, hard water drops its chalk in these
HARD = 1e-3  # mol/L alkalinity

HARD_WATER = (
    "Hard water: the pH jumps to neutral in one wash while copper may fall pale green into the white; the clear liquid "
    "then tests clean. Wash with soft or slightly acid water until copper is gone, use this water after."
)
REALITY = "Hot water, salt, clots and paper make it slower than the sum: go by the readings."


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
    return f"{100 * share:.2g} %" if share >= 1e-3 else f"1 part in {float(f'{1 / share:.2g}'):,.0f}"


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
        raise ValueError("the first liquid's acid or lye must lie between 0 and 12 mol/L")
    rinse = named_water(water, alkalinity)
    if rinse is None and not readings:
        raise ValueError("tap water needs its alkalinity (in mmol/L: 1 is 50 mg/L as CaCO3), or readings to tell it by")
    plan = WashPlan()
    said, lines = plan.said, plan.lines
    share = None if added_l is None else retained_share(retained_l, added_l)
    if share is not None and rinse is not None:
        few, many = ideal_washes(share, start, rinse), ideal_washes(min(0.95, WORSE * share), start, rinse)
        plan.washes = WashCount(few, many, share, rinse.ph(0.3))
        most = "over 60" if many is None else f"{many}"
        ideal = "over 60" if few is None else f"{few}"
        lines.append(f"Held back {share:.1%} a wash: {ideal} washes if ideal, {most} with dead corners. {REALITY}")
        said.append(
            f"About {100 * share:.0f} % is held back in each wash: neutral after "
            f"{ideal} if it mixes well, {most} if not."
        )
        fresh, aired = f"{rinse.ph(0.0):.1f}", f"{rinse.ph(1.0):.1f}"
        own = f"The water's own pH is {fresh}{f' fresh and {aired}' if fresh != aired else ''} after standing in air."
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
            f"All {volume_l:.3g} L in {best.washes} washes of {best.portion_l:.3g} L leave {_part(best.share_left)} of "
            f"the first liquid, {_part(best.share_left_high)} if it mixes badly; in one wash {once}."
        )
        lines += ["", "portions  litres each  share left (ideal)  with dead corners"]
        for row in rows:
            mark = "  <- enough" if row is best else ""
            worse = row.share_left_high
            lines.append(f"{row.washes:8d}  {row.portion_l:11.3g}  {row.share_left:18.2g}  {worse:17.2g}{mark}")
    if rinse is not None and rinse.alkalinity >= HARD and start > 0:
        lines.append(HARD_WATER)
        plan.caution = HARD_WATER
        said.append(HARD_WATER)
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
            lines.append(f"Fitted share held back: {fitted.value:.0%} ({fitted.low:.0%} to {fitted.high:.0%}).")
    if not lines:
        raise ValueError("give the water in all, the water added in each wash, or a reading")
    return plan
