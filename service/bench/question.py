"""A question about a new entry, and the answers that it takes: plain data, kept in English in the log."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict

from stripread.words import N_, _, speaking
from stripread.words.language import SOURCE
from stripread.words.retold import retold

Code = Literal["wrong_kind", "poured_off", "same_wash", "jump", "off_forecast", "second_weight", "which_weight"]


class Choice(BaseModel):
    """One answer: it counts as it is, its wash number or fields were others, or it is left out.

    ``data`` are the fields that change, of a note; ``wash`` the number, None where the person types it.
    """

    model_config = ConfigDict(frozen=True)

    do: Literal["confirm", "wash", "data", "withdraw"]
    label: str
    wash: int | None = None
    data: dict[str, Any] | None = None


class Question(BaseModel):
    """What does not fit, in a sentence, and what may be answered. ``about`` are numbers of earlier entries or notes.

    ``hint`` says how the command line takes the answer.
    """

    model_config = ConfigDict(frozen=True)

    code: Code
    sentence: str
    about: tuple[int, ...] = ()
    hint: str = ""
    choices: tuple[Choice, ...] = ()


AS_IT_IS = Choice(do="confirm", label=N_("It is right as it is"))
ANOTHER_VESSEL = Choice(do="withdraw", label=N_("Another vessel or a mistake: leave it out"))
ANOTHER_NUMBER = Choice(do="wash", label=N_("Another wash number"))


def numbered(wash: int) -> Choice:
    """The answer that it was this wash."""
    with speaking(SOURCE):
        return Choice(do="wash", label=_("It was wash {wash}", wash=str(wash)), wash=wash)


def told_json(question: dict[str, Any]) -> dict[str, Any]:
    """The same of a question as the log keeps it, JSON-ready."""
    told = retold_question(Question.model_validate(question))
    return told.model_dump(mode="json", exclude_none=True)


def retold_question(question: Question) -> Question:
    """A question, kept in English, in the language spoken now."""
    choices = tuple(choice.model_copy(update={"label": retold(choice.label)}) for choice in question.choices)
    told = {"sentence": retold(question.sentence), "hint": retold(question.hint), "choices": choices}
    return question.model_copy(update=told)
