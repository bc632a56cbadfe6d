"""The gate of a test that has a name: open where it found nothing in different washes, or at different moments."""

from __future__ import annotations

from collections.abc import Sequence

from service.bench.gates.verdict import Verdict, apart_running
from service.bench.notes import NamedTest, Note
from service.bench.stages.gate_kinds import TestNone
from stripread.words import LANGUAGES, _, say, speaking

Made = tuple[Note, NamedTest]


def judge_named(gate: TestNone, notes: Sequence[Note], since: str) -> Verdict:
    """Judge by the tests of that name in this stage.

    Parameters
    ----------
    notes
        All that count, in the order in which they were written.
    since
        When the stage began (ISO time).
    """
    called = names_of_test(gate.test)
    made: list[Made] = [
        (n, n.content)
        for n in notes
        if isinstance(n.content, NamedTest) and n.at >= since and n.content.name.casefold() in called
    ]
    shown = say(gate.test)
    if not made:
        return Verdict("cannot tell", _("No test {test!r} is written down in this stage yet.", test=shown))
    return _by_washes(gate, made, shown) if gate.hours is None else _by_hours(gate, gate.hours, made, shown)


def names_of_test(test: str) -> set[str]:
    """The test's name as the file has it and in every language: who wrote it down read it in one of them."""
    found = {test.casefold()}
    for language in LANGUAGES:
        with speaking(language):
            found.add(say(test).casefold())
    return found


def _by_hours(gate: TestNone, hours: float, made: Sequence[Made], shown: str) -> Verdict:
    last = made[-1][1]
    if last.found != "no":
        return _not_none(last, shown)
    clean = apart_running([(note.at, test.found == "no") for note, test in made], hours)
    if clean < gate.times:
        text = _(
            "The test {test!r} found nothing {clean} of {times} times: stir, wait {hours:g} h or more, test again.",
            test=shown,
            clean=clean,
            times=gate.times,
            hours=hours,
        )
        return Verdict("hold", text)
    text = _(
        "The test {test!r} found nothing, {times} times, {hours:g} h or more apart.",
        test=shown,
        times=gate.times,
        hours=hours,
    )
    return Verdict("open", text)


def _by_washes(gate: TestNone, made: Sequence[Made], shown: str) -> Verdict:
    nameless = [note for note, test in made if test.wash is None]
    if nameless:
        text = _("Note {number} has no wash number: correct it, to tell washes apart.", number=nameless[-1].id)
        return Verdict("cannot tell", text)
    washes = sorted({test.wash for _n, test in made if test.wash is not None})
    last = made[-1][1]
    if last.wash != washes[-1]:
        text = _(
            "The last test {test!r} is of wash {wash}, an earlier one of wash {last}: which is wrong? Correct it.",
            test=shown,
            wash=last.wash,
            last=washes[-1],
        )
        return Verdict("cannot tell", text)
    counted = [test for _n, test in made if test.wash in washes[-gate.times :]]
    worst = next((t for word in ("yes", "unsure") for t in reversed(counted) if t.found == word), None)
    if worst is not None:
        return _not_none(worst, shown)
    if len(washes) < gate.times:
        text = _(
            "The test {test!r} found nothing in wash {wash}; {times} washes running are needed: test the next one.",
            test=shown,
            wash=last.wash,
            times=gate.times,
        )
        return Verdict("hold", text)
    return Verdict(
        "open", _("The test {test!r} found nothing in {times} different washes.", test=shown, times=gate.times)
    )


def _not_none(test: NamedTest, shown: str) -> Verdict:
    if test.found == "yes":
        return Verdict("hold", _("The test {test!r} still found something: go on, then test again.", test=shown))
    return Verdict("cannot tell", _("The test {test!r} could not be told: make it again.", test=shown))
