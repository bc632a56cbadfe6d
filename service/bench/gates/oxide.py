"""The gate before acid: open where no silver oxide is left, by how the washes went and by a picture of the solid.

Acid turns oxide to chloride again (Ag2O + 2 HCl = 2 AgCl + H2O), a loss. Oxide shows itself twice: its powder holds
water at pH 10.1, 8.7 once aired (PHREEQC, tests/data/stall.csv), and it is darker than most silver. Neither is proof by
itself: an even grey may be oxide and chloride too fine to be told apart, so it takes both.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

from service.bench.chemistry.water import aired_water, tap_water
from service.bench.gates.named import names_of_test
from service.bench.gates.neutral import ALIKE, before_anew, wash_reading
from service.bench.gates.verdict import Verdict
from service.bench.notes import NamedTest, Note, ReagentUsed
from service.bench.readings import LoggedPh, LoggedSolid, Observation, look_twice
from service.bench.stages.gate_kinds import NoOxide
from service.bench.vessel.substances import Kind, mentioned
from service.bench.washing.course import course
from service.bench.washing.forecast import UNKNOWN_WATER
from service.bench.washing.parts import names_lye
from service.bench.washing.reading import Reading
from service.bench.washing.stalls import Wash, stall
from stripread.words import _, say

HELD_BY_OXIDE = 9.0  # pH from which silver oxide itself may hold the water: PHREEQC, tests/data/stall.csv, 10.1
WATER_WORDS = ("water", "wasser", "agua")  # alone, they change no solid
# Doubts that are about how much chloride is among the dark, not about how light the whole is.
OF_THE_SHARE = ("grey_part", "dark_is_light", "not_dark_and_pale", "few_grains", "fits_description")


def judge_oxide(  # noqa: PLR0917 - what the gate looks at
    gate: NoOxide,
    here: Sequence[Observation],
    every: Sequence[Observation],
    notes: Sequence[Note],
    since: str,
    alkalinity: float | None = None,
    part: int = 0,
) -> Verdict:
    """Judge by the washes since lye last went in, and by the last picture of the solid in this stage.

    Parameters
    ----------
    here
        Readings of this stage and of the rinse water, in the order in which they were taken.
    every
        All of the batch; ``here`` where not given.
    notes
        All that count, in the order in which they were written.
    since
        When the stage began (ISO time).
    alkalinity
        Of the rinse water, mol/L, if known.
    part
        How many new washings have begun by now.
    """
    read = course([r for o in (every or here) if not o.blank and (r := wash_reading(o)) is not None]).newest()
    if read and max(r.part for r in read) < part:
        return before_anew()
    held = _held_by_oxide(read, here, alkalinity)
    if held is not None:
        return held
    added = [n.at for n in notes if isinstance(n.content, ReagentUsed) and _changes(n.content.what)]
    start = max([since, *added])
    tests = [
        n.content
        for n in notes
        if isinstance(n.content, NamedTest)
        and gate.test is not None
        and n.at >= start
        and n.content.name.casefold() in names_of_test(gate.test)
    ]
    if any(test.found == "yes" for test in tests) and _clean_running(tests) < gate.times:
        return Verdict("hold", _("The test {test!r} found oxide: {cure}", test=say(gate.test or ""), cure=_cure()))
    return _by_picture(gate, [o for o in here if o.at >= start], tests)


def _held_by_oxide(read: Sequence[Reading], here: Sequence[Observation], alkalinity: float | None) -> Verdict | None:
    """The washes' own word against it: they stood still where oxide holds them, or the last one is as alkaline."""
    plain = [r for r in read if r.bound == 0]
    washes = [Wash(r.wash, r.ph, r.interval) for r in plain]
    for many in range(3, len(washes) + 1):
        found = stall(washes[:many], "lye", _water_ph(here, alkalinity))
        if found is not None and found.code == "oxide":
            text = _(
                "Up to wash {wash} the washes stood still at pH {ph:.1f}, as silver oxide holds them: {cure}",
                wash=washes[many - 1].number,
                ph=washes[many - 1].ph,
                cure=_cure(),
            )
            return Verdict("hold", text)
    if not read:
        return Verdict("cannot tell", _("No pH of a wash since the lye yet: oxide would hold it at 9 to 10."))
    last = read[-1]
    own = _water_ph(here, alkalinity)
    # Hard water, aired, is by itself as alkaline as oxide makes it: there the picture has to tell.
    most = HELD_BY_OXIDE if own == UNKNOWN_WATER else max(HELD_BY_OXIDE, min(own[1] + ALIKE, HELD_BY_OXIDE + ALIKE))
    if last.interval[1] >= most or last.bound > 0:
        text = _(
            "{at_start} may still reach pH 9 to 10, where silver oxide itself holds the water: wash on, no acid yet.",
            at_start=last.at_start,
        )
        return Verdict("hold", text)
    return None


def _by_picture(gate: NoOxide, here: Sequence[Observation], tests: Sequence[NamedTest]) -> Verdict:
    seen = [o.reading for o in here if isinstance(o.reading, LoggedSolid) and not o.reading.refused]
    if not seen or seen[-1].lab is None or seen[-1].sd is None:
        text = _("No picture of the washed powder yet: spread it flat, photograph it; only grey powder may meet acid.")
        return Verdict("cannot tell", text)
    last = seen[-1]
    light, doubt = last.lab[0] if last.lab else None, last.sd[0] if last.sd else None
    other = [r for r in last.reasons if r.severity == "doubt" and r.code not in OF_THE_SHARE]
    if (last.doubtful and (other or not last.reasons)) or light is None or doubt is None:
        text = _("The last picture of the powder {says}: take it again.", says=look_twice())
        return Verdict("cannot tell", text)
    if last.pale_interval is not None and last.pale_interval[0] > gate.share:
        text = _(
            "At least {low:.1%} of the powder is pale: chloride is left, back to lye and sugar.",
            low=last.pale_interval[0],
        )
        return Verdict("hold", text)
    pale = last.pale_interval is None or last.pale_interval[1] > gate.share
    return _by_lightness(gate, light, doubt, pale, _clean_running(tests))


def _by_lightness(gate: NoOxide, light: float, doubt: float, pale: bool, clean: int) -> Verdict:
    """By L* of the powder and its standard deviation; ``pale``: more of it may be chloride than the gate lets pass."""
    if pale and light + 2.0 * doubt > silver_lightness():
        text = _(
            "The powder is so light (L* {light:.0f}) that it may be chloride, and the picture can't rule that out: "
            "take it again, spread flat in even light.",
            light=light,
        )
        return Verdict("cannot tell", text)
    if light - 2.0 * doubt > oxide_lightness():
        text = _(
            "No wash stood still at pH 9 to 10, and the powder is lighter (L* {light:.0f}) than silver oxide is: none "
            "is seen. Acid very dilute, little by little; stop where it turns white.",
            light=light,
        )
        return Verdict("open", text)
    if gate.test is not None and clean >= gate.times:
        text = _(
            "No wash stood still at pH 9 to 10, and the test {test!r} found nothing {times} times. Acid very dilute, "
            "little by little; stop where it turns white.",
            test=say(gate.test),
            times=gate.times,
        )
        return Verdict("open", text)
    text = _(
        "The powder is dark (L* {light:.0f}): silver oxide is, and fine silver can be. Acid would turn oxide back to "
        "chloride.",
        light=light,
    )
    if gate.test is not None:
        text += _(" Make the test {test!r} with {times} pinches.", test=say(gate.test), times=gate.times - clean)
    return Verdict("cannot tell", text)


def _clean_running(tests: Sequence[NamedTest]) -> int:
    run = 0
    for test in tests:
        run = run + 1 if test.found == "no" else 0
    return run


def _cure() -> str:
    return _(
        "oxide is left, and acid would turn it back to chloride. Warm it with a little lye again, sugar in small "
        "portions, then wash."
    )


def _changes(what: str) -> bool:
    """Whether a reagent may have changed the solid since: lye, sugar, and whatever nobody knows; water does not."""
    known = mentioned(what)
    if known or names_lye(what):
        return names_lye(what) or any(one.kinds - {Kind.CHLORIDE} for one in known)
    return not any(word in what.casefold() for word in WATER_WORDS)


def _water_ph(here: Sequence[Observation], alkalinity: float | None) -> tuple[float, float]:
    """The rinse water's own pH, low and high, fresh and aired: as read, as named, else anything that water may have."""
    own = [o.reading for o in here if o.blank and isinstance(o.reading, LoggedPh) and not o.reading.doubtful]
    if own and own[-1].interval is not None:
        return own[-1].interval
    if alkalinity is None:
        return UNKNOWN_WATER
    water = aired_water() if alkalinity <= 0.0 else tap_water(alkalinity)
    ends = water.ph(0.0), water.ph(1.0)
    return min(ends), max(ends)


@cache
def oxide_lightness() -> float:
    """The lightest that silver oxide is, L*: of its words in the table of precipitates (a wide reading of words)."""
    return _lightest("Ag2O")


@cache
def silver_lightness() -> float:
    """The lightest that silver powder is, L*: likewise."""
    return _lightest("Ag (powder from glucose)")


def _lightest(species: str) -> float:
    from stripread.solid.descriptions import precipitates  # noqa: PLC0415 - a table

    return next(p.lightness[1] for p in precipitates() if p.species == species)
