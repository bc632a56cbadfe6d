"""Notes about the log itself: its procedure, its stages, and what became of another note."""

from __future__ import annotations

from typing import Annotated, Any, Self

from pydantic import model_validator

from service.bench.note_fields import Asked, Bounds, Count, Text
from service.bench.notes.content import Content
from service.bench.procedure import parse_procedure


class ChosenProcedure(Content):
    """The procedure of the batch, as the text of its file.

    Where it takes the place of another: the stage of it in which the batch is then (``to``), why, and who says so.
    """

    kind = "procedure"
    text: Text
    to: Text | None = None
    reason: Text | None = None
    who: Text | None = None

    @model_validator(mode="after")
    def _parses(self) -> Self:
        found = parse_procedure(self.text)
        if self.to is not None:
            found.stage(self.to)
        return self


class Move(Content):
    """On to another stage: what the gate said, and the reason where it went against it."""

    kind = "move"
    to: Text
    state: Text
    sentence: Text
    reason: Text | None = None
    who: Text | None = None


class Strike(Content):
    """Another note is withdrawn: it counts no more, and stays in the log. A strike struck out puts back."""

    kind = "strike"
    label = "Strike something out"
    note: Annotated[Count, Bounds(1, 1e12), Asked("Which")]
    why: Annotated[Text, Asked("Why", longest=500)]
    who: Annotated[Text, Asked("Who", longest=100)] | None = None


class Amended(Content):
    """Another note is corrected: from now on it says this, at its own place and time. Struck out, it never was."""

    kind = "amended"
    note: Annotated[Count, Bounds(1, 1e12)]
    data: dict[str, Any]
    why: Text
    who: Text | None = None
