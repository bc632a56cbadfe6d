"""The copper gate: open only where copper's absence was shown, in different washes, in all that stays with the solid.

A clear drop proves nothing by itself. Too little ammonia in acid shows neither blue nor flakes, near neutral flakes and
no blue (PHREEQC, tests/data/ammonia_test.csv); in hard water copper may lie in the solid as carbonate.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from service.bench.gates.verdict import Verdict
from service.bench.readings import LoggedTint, Observation, look_twice
from service.bench.stages.gate_kinds import TintNone
from stripread.words import _

Pair = tuple[float, float]
Water = Literal["soft", "hard", "unknown"]
COPPER_FALLS = 5.2  # pH from which 1 g/L of copper leaves the liquid as hydroxide; NIST 46 constants, minteq.v4.dat
LEFT_OUT = ("cells_unusable", "cells_old", "cells_other_light", "cells_changed")  # reasons of a tint
STRONGEST = 14.8  # mol/L of ammonia as sold at most (28 %); from memory


@dataclass(frozen=True)
class Metal:
    """What a copper limit needs: silver in the batch, g, at the least, and liquid that stays with the solid, L."""

    silver_g: float | None = None
    retained_l: float | None = None


@dataclass(frozen=True)
class _Test:
    """A logged tint, of a wash that is known."""

    seen: Observation
    tint: LoggedTint
    wash: int


@dataclass(frozen=True)
class _Strips:
    """Intervals of the pH of a tested wash, open where a strip's range ended; whether one of them is undoubted."""

    intervals: tuple[Pair, ...]
    proves: bool

    def acid_side(self, said: Literal["acid", "neutral", "unknown"]) -> bool:
        """Whether the wash kept copper dissolved: a word proves it, a valid strip too, and neither may say no."""
        word = said == "acid" or (self.proves and said == "unknown")
        return word and all(high < COPPER_FALLS for _, high in self.intervals)


def copper_ppm(limit_mg_l: float, retained_l: float, silver_g: float) -> float:
    """Copper in the metal, mg/kg, if what stays with the solid holds ``limit_mg_l`` of copper and dries in."""
    return limit_mg_l * retained_l / (silver_g / 1000.0)


def judge_copper(
    gate: TintNone,
    here: Sequence[Observation],
    metal: Metal,
    water: Water,
    every: Sequence[Observation] = (),
) -> Verdict:
    """Judge by the tints of this stage.

    Parameters
    ----------
    here
        Readings of this stage, in the order in which they were taken.
    water
        The rinse water, as named for the batch.
    every
        The pH readings that tell whether a tested wash was acid; ``here`` where not given.
    """
    seen = [o for o in here if isinstance(o.reading, LoggedTint) and not o.reading.refused]
    if not seen:
        return Verdict("cannot tell", _("No tint reading in this stage yet."))
    if seen[-1].wash is None:
        return Verdict(
            "cannot tell",
            _("{last_seen} has no wash number: correct it, to tell washes apart.", last_seen=_name(seen[-1])),
        )
    tests = [_Test(o, o.reading, o.wash) for o in seen if isinstance(o.reading, LoggedTint) and o.wash is not None]
    washes = sorted({test.wash for test in tests})[-int(gate.times) :]
    if any(t.tint.decision == "copper" and not t.tint.doubtful for t in tests if t.wash in washes):
        return Verdict("hold", _("Copper was still seen in the last washes: wash on."))
    counted = [[t for t in tests if t.wash == wash][-1] for wash in washes]
    doubts = [_late(tests[-1], counted[-1])]
    doubts += [_doubt(test, [o for o in every or here if o.wash == test.wash], water) for test in counted]
    if any(doubts):
        return Verdict("cannot tell", next(filter(None, doubts)))
    if len(counted) < int(gate.times):
        text = _(
            "None seen in wash {last_washes}; {times} different washes running are needed",
            last_washes=washes[-1],
            times=int(gate.times),
        )
        return Verdict("hold", _("{text}: test the next one too.", text=text))
    return _hidden(gate.ppm, counted, metal)


def _late(latest: _Test, last: _Test) -> str:
    """A test taken last that is not of the last wash: one of the two numbers is wrong."""
    if latest.wash == last.wash:
        return ""
    return _(
        "{seen} (wash {wash}) was taken after {seen2} (wash {wash2}): which wash number is wrong? "
        "Correct or withdraw one.",
        seen=_name(latest.seen),
        wash=latest.wash,
        seen2=_name(last.seen, first=False),
        wash2=last.wash,
    )


def _name(seen: Observation, *, first: bool = True) -> str:
    if seen.entry is None:
        return _("A copper test") if first else _("a copper test")
    return _("Entry {entry}", entry=seen.entry) if first else _("entry {entry}", entry=seen.entry)


def _doubt(test: _Test, same_wash: Sequence[Observation], water: Water) -> str:
    """Why this test shows no absence, and the one thing to do; empty where it does."""
    strips = [(o.open_interval(), o.reading) for o in same_wash if not o.blank and o.part == test.seen.part]
    pairs = [(pair, ph.doubtful) for pair, ph in strips if pair is not None and not ph.refused]
    valid = [pair for pair, doubtful in pairs if not doubtful]
    by_strip = _Strips(tuple(pair for pair, _ in pairs), proves=bool(valid))
    return _ammonia(test) or _unclear(test) or _diluted(test, valid) or _in_solid(test, by_strip, water)


def _ammonia(test: _Test) -> str:
    called, taken = _name(test.seen), test.tint.conditions()
    if taken.ammonia == "lye":
        return _(
            "{called}: no ammonia makes pH {ammonia_ph:g}, lye does: test again with ammonia.",
            called=called,
            ammonia_ph=taken.ammonia_ph,
        )
    asked = {
        _("dip a strip into the drop (9.5 or more)"): taken.ammonia_ph is None,
        _("say whether flakes float"): taken.flakes == "unknown",
        _("give the sample's mL and the drops added"): not _said_how_far(test),
    }
    missing = ", ".join(what for what, wanted in asked.items() if wanted)  # all at once: each costs a walk to the bench
    unshown = _(
        "{called} does not show that ammonia was in excess: {missing}. Log that with the photo.",
        called=called,
        missing=missing,
    )
    return {
        "shown": "",
        "too acid": _(
            "{called} was still acid, where copper shows nothing: add ammonia to pH 9.5 or more.", called=called
        ),
        "short": _(
            "{called} had too little ammonia: more drops, until no flakes float and a strip reads 9.5 or more.",
            called=called,
        ),
    }.get(taken.ammonia, unshown)


def _unclear(test: _Test) -> str:
    called, tint = _name(test.seen), test.tint
    if test.seen.cells_lost:
        return _(
            "{called} was read with a photo of its vials that was withdrawn since: take the tint again.", called=called
        )
    if tint.doubtful and any(tint.has_reason(code) for code in LEFT_OUT):
        return _(
            "{called} {says}, for the photo of its vials was left out: take a new cell blank, then the tint.",
            called=called,
            says=look_twice(),
        )
    near = tint.decision == "undecided" and (tint.has_reason("near_limit") or not tint.doubtful)
    if near and tint.cells == "none":
        text = _("would likely settle it: both vials with the same blank in the same places, then the tint again")
        return _(
            "{called} is undecided: a cell blank (or a photo with the vials swapped) {text}. Or a deeper sample.",
            called=called,
            text=text,
        )
    if near:
        return _(
            "{called} is undecided though its vials were measured: take it again with a deeper sample.", called=called
        )
    if tint.doubtful:
        return _("{called} {says}: take the tint again.", called=called, says=look_twice())
    return "" if tint.decision == "none seen" else _("{called} shows no absence: take the tint again.", called=called)


def _said_how_far(test: _Test) -> bool:
    return test.tint.dilution() not in (None, 1.0)  # a drop without its ammonia is none


def _diluted(test: _Test, intervals: Sequence[Pair]) -> str:
    dilution = test.tint.dilution()
    if dilution is None or not _said_how_far(test):
        return _(
            "{seen} does not say how far it was diluted: give the sample's mL and the drops added.",
            seen=_name(test.seen),
        )
    if any((dilution - 1.0) * STRONGEST < 10.0**-high for _, high in intervals):
        text = _(
            "{seen}: so little ammonia can't have taken up the acid of wash {wash}",
            seen=_name(test.seen),
            wash=test.wash,
        )
        return _("{text}: check the drops and the volume.", text=text)
    return ""


def _in_solid(test: _Test, strips: _Strips, water: Water) -> str:
    taken = test.tint.conditions()
    waters = (water, taken.water)
    if ("soft" in waters and "hard" not in waters) or strips.acid_side(taken.wash):
        return ""
    if "hard" in waters:
        text = _("None seen in the liquid, but in hard water copper may lie in the solid")
        return _("{text}: rinse once with slightly acid water and test that.", text=text)
    text = _("{seen}: copper may lie in the solid unless the wash is acid or the water soft", seen=_name(test.seen))
    return _("{text}: read that wash's pH, or name the batch's water.", text=text)


def _hidden(most: float, tests: Sequence[_Test], metal: Metal) -> Verdict:
    """None seen, so how much could be there all the same?"""
    limits = [_limit(test.tint) for test in tests]
    known = [limit for limit in limits if limit is not None]
    missing = ""
    if len(known) < len(limits):
        missing = _("give the depth of the sample in mm")
    elif not metal.silver_g:
        missing = _("weigh the chloride or the metal")
    elif not metal.retained_l:
        missing = _("note the liquid that stays with the solid (the batch's vessel)")
    if missing or not metal.silver_g or not metal.retained_l:
        return Verdict("cannot tell", _("None seen; to say what hides in the metal, {missing}.", missing=missing))
    limit = max(known)
    ppm = copper_ppm(limit, metal.retained_l, metal.silver_g)
    what = _(
        "{ppm:.2g} ppm ({limit:.2g} mg/L in the wash, dilution counted; {most:g} ppm wanted)",
        ppm=ppm,
        limit=limit,
        most=most,
    )
    if ppm > most:
        return Verdict(
            "hold",
            _("None seen, but up to {what} could hide in the metal: use a deeper sample, or wash on.", what=what),
        )
    return Verdict(
        "open",
        _(
            "None seen in {n_tests} different washes: below {what} copper from the liquid.",
            n_tests=len(tests),
            what=what,
        ),
    )


def _limit(tint: LoggedTint) -> float | None:
    """Copper that may be there unseen, mg/L of the undiluted wash: the limit, or the interval's end if that is more."""
    if tint.detection_limit is None:
        return None
    return max(tint.detection_limit, tint.interval[1] if tint.interval is not None else 0.0)
