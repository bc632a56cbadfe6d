"""A question about a new entry, and the answers that it takes: plain data, kept in the log beside the entry."""

from __future__ import annotations

from typing import Any, Literal

from pydantic import BaseModel, ConfigDict

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


AS_IT_IS = Choice(do="confirm", label="It is right as it is")
ANOTHER_VESSEL = Choice(do="withdraw", label="Another vessel or a mistake: leave it out")
ANOTHER_NUMBER = Choice(do="wash", label="Another wash number")


def numbered(wash: int) -> Choice:
    """The answer that it was this wash."""
    return Choice(do="wash", label=f"It was wash {wash}", wash=wash)
