"""When a weight is asked about: a second one of what a batch starts from replaces one, adds to it, or is a slip."""

from __future__ import annotations

from collections.abc import Sequence

from service.bench.question import Choice, Question
from service.bench.weighings import Weighing, expected_of, lots_of
from stripread.errors import CallError

STARTS = ("chloride", "input")  # powder and silver are weighed again while they dry: there the last one counts
LEAVE_OUT = Choice(do="withdraw", label="It was not weighed for this: leave it out")


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
            numbers = ", ".join(str(lot.number) for lot in lots)
            raise CallError(f"note {new.replaces} is no weight of {new.of} that counts; there are notes {numbers}")
        return None
    if new.again == "adds" or (new.again == "replaces" and len(lots) == 1):
        return None
    known = ", ".join(f"{lot.grams:g} g (note {lot.number})" for lot in lots)
    plural = "are" if len(lots) > 1 else "is"
    if new.again is None:
        text = (
            f"{known} of {new.of} {plural} written down already: does {new.grams:g} g replace it, or is it another "
            "lot that adds?"
        )
    else:
        text = f"{known} of {new.of} are written down: which one does {new.grams:g} g replace?"
    choices = [_choice(earlier, new, None, "Another lot: it adds")]
    choices += [_choice(earlier, new, lot, f"The same as the {lot.grams:g} g: correct that") for lot in lots]
    hint = "Say again=replaces or again=adds." if new.again is None else "Say replaces=NOTE."
    code = "second_weight" if new.again is None else "which_weight"
    about = tuple(lot.number for lot in lots)
    return Question.model_validate(
        {"code": code, "sentence": text, "hint": hint, "about": about, "choices": (*choices, LEAVE_OUT)}
    )


def _choice(earlier: Sequence[Weighing], new: Weighing, lot: Weighing | None, label: str) -> Choice:
    given = {"again": "adds"} if lot is None else {"again": "replaces", "replaces": lot.number}
    tried = Weighing(new.of, new.grams, new.scale_g, new.moisture, new.fineness, **given, number=-1)
    expected = expected_of([*earlier, tried])
    told = "" if expected is None else f" (silver expected then: {expected[1]:.4g} g)"
    return Choice(do="data", label=label + told, data=given)
