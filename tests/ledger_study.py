"""Made-up batches with known true masses against their ledgers: does it close, do ranges hold, is a loss found?

``python -m tests.ledger_study --batches 1000``: each batch has one or two lots of chloride, washes that go to a buffer
vessel or to the stock, a part split off, dried, weighed, filtered, its paper dried and weighed, all rinsed back, powder
and bar weighed, in half of them flux, slag and crucible, too. Scales, volumes, moisture, shares and fines err as a
bench's do; the errors are drawn here and not by the ledger. In half of the batches 5 % of the silver vanishes out of
one vessel, at a time that nobody notes.

"Pointed to": the ledger says that the weighings point to a loss, and the vessel that it was lost from is the one named
first, or the one that it says it may be as well, where what was weighed can't tell the two apart (at most two named).
"Weighings allow it": the vessel's silver was weighed dry (0 to 1 % water) after it was lost, and what went into the
vessel was weighed dry before; batches in which the split-off part was only drained are counted apart.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass, field

import numpy as np

from service.bench.chemistry.balance import GLASS_G, PAPER_G, SETTLED
from service.bench.chemistry.reagents import silver_share
from service.bench.ledger.books import CRUCIBLE, SLAG
from service.bench.ledger.ledger import Ledger, ledger_of
from service.bench.ledger.melted import MELT
from service.bench.ledger.pouring import THROUGH
from service.bench.melting.melt import IN_SLAG
from service.bench.notes import Note, checked

HIDDEN = 0.05  # of the batch's silver
PLACES = ("main", "pot b", "paper 1", "melt")
NAMED = {"main": {"main"}, "pot b": {"pot b"}, "paper 1": {"paper 1"}, "melt": {"·bar", "·melt", "·slag", "·crucible"}}


@dataclass
class Bench:
    """A made-up bench: true silver in each vessel, g, and the notes that are written of it."""

    random: np.random.Generator
    true: dict[str, float] = field(default_factory=dict)
    notes: list[Note] = field(default_factory=list)

    def write(self, kind: str, **data: object) -> None:
        """A note, an hour after the one before."""
        number = len(self.notes) + 1
        at = f"2026-01-{1 + number // 24:02d}T{number % 24:02d}:00:00.000000+00:00"
        self.notes.append(Note(checked(kind, dict(data)), at, number))

    def move(self, out: str, into: str, grams: float) -> None:
        """True silver from one vessel to another."""
        grams = min(grams, self.true.get(out, 0.0))
        self.true[out] = self.true.get(out, 0.0) - grams
        self.true[into] = self.true.get(into, 0.0) + grams

    def skewed(self, low: float, value: float, high: float) -> float:
        """A draw of a quantity over a wide range: log-normal on each side of its value, the ends 5 and 95 %."""
        z = float(self.random.standard_normal())
        end = high if z > 0 else low
        return float(value * np.exp(abs(np.log(end / value)) / 1.645 * z))

    def on_scale(self, grams: float, scale: float) -> float:
        """What a scale shows that is right to ± ``scale`` in 95 of 100 weighings, to a hundredth of a gram."""
        return round(grams + scale / 2.0 * float(self.random.standard_normal()), 2)


def made_batch(seed: int, hidden: str | None, *, drained: bool = False) -> tuple[Bench, float]:
    """One batch and the silver that vanished from it, g; ``hidden`` is the place of the loss, None for a sound one."""
    bench = Bench(np.random.default_rng(seed))
    random, scale = bench.random, 0.1
    silver = float(random.uniform(60.0, 400.0))
    gone = HIDDEN * silver if hidden else 0.0
    for lot in (silver,) if random.random() < 0.6 else (0.6 * silver, 0.4 * silver):
        wet = float(random.uniform(0.0, 0.01))
        shown = bench.on_scale(lot / silver_share() / (1.0 - wet), scale)
        bench.write("weight", of="chloride", grams=shown, moisture=[0, 0.01], scale_g=scale, again="adds")
        bench.true["main"] = bench.true.get("main", 0.0) + lot
    bench.write("named_vessel", vessel="buffer", what_for="buffer")
    _washes(bench, int(random.integers(2, 5)))
    share = float(random.uniform(0.3, 0.45))
    part = bench.true["main"] * share * (1.0 + 0.04 * float(random.standard_normal()))
    bench.move("main", "pot b", part)
    bench.write("moved", how="split", vessel="main", into="pot b", share=[max(0.0, share - 0.02), share + 0.02])
    if hidden in ("main", "pot b"):
        bench.move(hidden, "nowhere", gone)
    _weighed(bench, "pot b", (0.2, 0.5) if drained else (0.0, 0.01))
    bench.move("pot b", "clear", bench.true["pot b"] * bench.skewed(*THROUGH))
    bench.move("pot b", "paper 1", bench.true["pot b"])
    bench.write("filtered", vessel="pot b", paper="paper 1", into="clear")
    if hidden == "paper 1":
        bench.move("paper 1", "nowhere", gone)
    _weighed(bench, "paper 1", (0.0, 0.01))
    bench.move("paper 1", "main", max(0.0, bench.true["paper 1"] - bench.skewed(*PAPER_G)))
    bench.write("moved", how="rinse back", vessel="paper 1", into="main")
    bench.move("buffer", "main", max(0.0, bench.true.get("buffer", 0.0) - bench.skewed(*GLASS_G)))
    bench.write("moved", how="rinse back", vessel="buffer", into="main")
    _washes(bench, 2)
    bench.move("main", "·glass", 2.0 * bench.skewed(*GLASS_G))
    shown = bench.on_scale(bench.true["main"], scale)
    bench.write("weight", of="powder", grams=shown, scale_g=scale)
    if random.random() < 0.5:
        bench.move("main", "·melt", bench.true["main"] * bench.skewed(*MELT))
    else:
        _melted(bench, shown)
    bench.move("main", "·bar", bench.true["main"])
    if hidden == "melt":
        bench.move("·bar", "nowhere", gone)
    halves = (bench.true["·bar"],) if random.random() < 0.6 else (0.5 * bench.true["·bar"],) * 2
    for number, bar in enumerate(halves):
        more = {"again": "adds"} if number else {}
        bench.write("weight", of="silver", grams=bench.on_scale(bar, scale), scale_g=scale, **more)
    return bench, bench.true.get("nowhere", 0.0)


def _melted(bench: Bench, powder: float) -> None:
    """A melt of which everything was weighed: the slag and what stuck to the crucible hold silver alike."""
    flux = bench.true["main"] * float(bench.random.uniform(0.05, 0.2))
    glass = flux * float(bench.random.uniform(0.6, 0.95))
    stuck = glass * float(bench.random.uniform(0.05, 0.4))
    share = min(0.5, bench.skewed(*IN_SLAG))
    off, on = (glass - stuck) / (1.0 - share), stuck / (1.0 - share)
    bench.move("main", "·slag", share * off)
    bench.move("main", "·crucible", share * on)
    crucible = float(bench.random.uniform(200.0, 600.0))
    weights = {
        "powder_g": powder,
        "flux_g": bench.on_scale(flux, 0.1),
        "slag_g": max(0.0, bench.on_scale(off, 0.1)),
        "crucible_before_g": bench.on_scale(crucible, 0.1),
        "crucible_after_g": bench.on_scale(crucible + on, 0.1),
    }
    bench.write("melt", **weights, scale_g=0.1)


def _washes(bench: Bench, count: int) -> None:
    """Washes of a litre or so: fines that err together by the bench's habits and each by itself, a little dissolved."""
    for number in range(count):
        settled = float(bench.random.choice([0.5, 2.0, 12.0]))
        low, value, high = next(span for hours, span in SETTLED if settled <= hours)
        litres = float(bench.random.uniform(0.5, 1.5))
        into = "buffer" if bench.random.random() < 0.5 and "paper 1" not in bench.true else "stock"
        fines = bench.skewed(low, value, high) * litres / 1000.0 * silver_share()
        dissolved = bench.skewed(0.1, 0.5, 2.0) * litres / 1000.0
        bench.move("main", into, fines + dissolved)
        said = round(litres * (1.0 + 0.03 * float(bench.random.standard_normal())), 2)
        more = {"into": "buffer"} if into == "buffer" else {}
        bench.write("decant", name=f"wash {number + 1}", litres=said, settled_h=settled, chloride=0.1, **more)


def _weighed(bench: Bench, vessel: str, wet: tuple[float, float]) -> None:
    dry = bench.true[vessel] / silver_share()
    shown = bench.on_scale(dry / (1.0 - float(bench.random.uniform(*wet))), 0.1)
    bench.write("vessel_weighed", vessel=vessel, grams=max(0.0, shown), net=True, moisture=list(wet), scale_g=0.1)


@dataclass
class Counts:
    """What is counted over batches: of how many, and in how many of them."""

    of: int = 0
    yes: int = 0

    def add(self, yes: bool) -> None:
        """One more."""
        self.of, self.yes = self.of + 1, self.yes + yes

    @property
    def words(self) -> str:
        """As a share with the two counts."""
        return f"{100.0 * self.yes / max(1, self.of):.1f} % ({self.yes} of {self.of})"


def named_by(ledger: Ledger) -> set[str]:
    """Keys of the vessels that the ledger points to, the first and those that it says it may be as well."""
    if ledger.suspect is None:
        return set()
    keys = {one.name: one.key for one in ledger.vessels}
    return {ledger.suspect.key, *(keys[name] for name in ledger.suspect.or_in if name in keys)}


def study(batches: int, first: int = 0) -> dict[str, Counts]:
    """Run it: counts by what is counted."""
    names = ["closes", "total", "vessels", "slag", "alarm", "alone", *PLACES, "pointed", "drained: pointed"]
    found = {name: Counts() for name in names}
    for number in range(first, first + batches):
        hidden = None if number % 2 == 0 else PLACES[number // 2 % len(PLACES)]
        drained = number % 10 == 3
        bench, gone = made_batch(number, hidden, drained=drained)
        ledger = ledger_of(bench.notes)
        low, _mid, high = ledger.open_g
        found["total"].add(low <= gone <= high)
        for one in ledger.vessels:
            if one.key in bench.true and bench.true[one.key] > 1e-6:
                held = one.silver_g[0] - 1e-3 <= bench.true[one.key] <= one.silver_g[2] + 1e-3
                found["vessels"].add(held)
                if one.key in (SLAG, CRUCIBLE):
                    found["slag"].add(held)
        if hidden is None:
            found["closes"].add(ledger.closes)
            found["alarm"].add(ledger.suspect is not None)
            continue
        named = named_by(ledger)
        right = bool(named & NAMED[hidden]) and len(named) <= 2
        if drained and hidden == "pot b":
            found["drained: pointed"].add(right)
            continue
        found["pointed"].add(right)
        found[hidden].add(right)
        found["alone"].add(bool(named) and named <= NAMED[hidden])
    return found


def main() -> None:
    """The command."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--batches", type=int, default=1000)
    parser.add_argument("--first", type=int, default=0, help="seed of the first batch")
    given = parser.parse_args()
    began = time.process_time()
    found = study(given.batches, given.first)
    words = {
        "closes": "sound batches that close (nothing need be missing)",
        "alarm": "sound batches in which a loss is suspected",
        "total": "all batches: the silver that vanished lies in the range of what is missing",
        "vessels": "vessels of all batches: the true silver lies in the stated 95 % range",
        "slag": "  slag that came off, and what stuck to the crucible, where both were weighed",
        "pointed": "hidden loss of 5 %, where the weighings allow it: pointed to in the right vessel",
        "alone": "  and no other vessel named beside it",
        **{place: f"  lost from {place}" for place in PLACES},
        "drained: pointed": "the part only drained (20 to 50 % water), lost from it: pointed to",
    }
    print("| what | of made-up batches |\n|---|---|")
    for name, text in words.items():
        print(f"| {text.strip()} | {found[name].words} |")
    print(f"\n{given.batches} batches, {time.process_time() - began:.0f} s of processor time")


if __name__ == "__main__":
    main()
