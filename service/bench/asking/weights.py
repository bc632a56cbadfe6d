"""When a weight is asked about: a second one of what a batch starts from replaces one, adds to it, or is a slip."""

from __future__ import annotations

from collections.abc import Sequence

from service.bench.question import Choice, Question
from service.bench.weighings import Weighing, expected_of, lots_of
from stripread.errors import CallError
from stripread.words import N_, SOURCE, _, say, speaking

STARTS = ("chloride", "input")  # powder and silver are weighed again while they dry: there the last one counts
LEAVE_OUT = Choice(do="withdraw", label=N_("It was not weighed for this: leave it out"))


def asked_of_weight(earlier: Sequence[Weighing], new: Weighing) -> Question | None:
    """What to ask about a weight before it counts, each answer with the silver that would be expected by it.

    Raises
    ------
    CallError
        Where it names a weight to replace that is none, or counts no more.
    """
    lots = lots_of(earlier, new.of)
    if new.of not in STARTS or not lots:
        return None
    if new.replaces is not None:
        if new.replaces not in [lot.number for lot in lots]:
            raise CallError(
                _(
                    "note {note} is no weight of {of} that counts; there are notes {numbers}",
                    note=str(new.replaces),
                    of=say(new.of),
                    numbers=", ".join(str(lot.number) for lot in lots),
                )
            )
        return None
    if new.again == "adds" or (new.again == "replaces" and len(lots) == 1):
        return None
    with speaking(SOURCE):  # the log keeps a question in one language
        return _question(earlier, new, lots)


def _question(earlier: Sequence[Weighing], new: Weighing, lots: Sequence[Weighing]) -> Question:
    known = ", ".join(_("{grams:g} g (note {number})", grams=lot.grams, number=str(lot.number)) for lot in lots)
    said = {"known": known, "of": new.of, "grams": new.grams}
    if new.again is not None:
        text = _("{known} of {of} are written down: which one does {grams:g} g replace?", **said)
    elif len(lots) > 1:
        text = _(
            "{known} of {of} are written down already: does {grams:g} g replace it, or is it another lot that adds?",
            **said,
        )
    else:
        text = _(
            "{known} of {of} is written down already: does {grams:g} g replace it, or is it another lot that adds?",
            **said,
        )
    choices = [_choice(earlier, new, None, _("Another lot: it adds"))]
    choices += [
        _choice(earlier, new, lot, _("The same as the {grams:g} g: correct that", grams=lot.grams)) for lot in lots
    ]
    hint = _("Say again=replaces or again=adds.") if new.again is None else _("Say replaces=NOTE.")
    code = "second_weight" if new.again is None else "which_weight"
    about = tuple(lot.number for lot in lots)
    return Question.model_validate(
        {"code": code, "sentence": text, "hint": hint, "about": about, "choices": (*choices, LEAVE_OUT)}
    )


def _choice(earlier: Sequence[Weighing], new: Weighing, lot: Weighing | None, label: str) -> Choice:
    given = {"again": "adds"} if lot is None else {"again": "replaces", "replaces": lot.number}
    tried = Weighing(new.of, new.grams, new.scale_g, new.moisture, new.fineness, **given, number=-1)
    expected = expected_of([*earlier, tried])
    if expected is not None:
        label = _("{label} (silver expected then: {grams:.4g} g)", label=label, grams=expected[1])
    return Choice(do="data", label=label, data=given)
