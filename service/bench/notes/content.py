"""What every kind of note is: a model that checks what is given, and knows how its form asks for it."""

from __future__ import annotations

from typing import Any, ClassVar, Self

from pydantic import BaseModel, ConfigDict, ModelWrapValidatorHandler, PrivateAttr, model_validator

from service.bench.note_fields import Bounds

GRAMS, LITRES, PH = Bounds(0, 1e6), Bounds(0, 1e4), Bounds(-1, 15)


class Content(BaseModel):
    """What a note of one kind holds. ``label`` is how a form calls it; without one no form asks for it."""

    model_config = ConfigDict(frozen=True, extra="forbid")
    kind: ClassVar[str]
    label: ClassVar[str | None] = None
    asked_last: ClassVar[frozenset[str]] = frozenset()  # fields that a form puts behind the others
    _given: tuple[str, ...] = PrivateAttr(())

    @model_validator(mode="wrap")
    @classmethod
    def _keep_order(cls, data: object, handler: ModelWrapValidatorHandler[Self]) -> Self:
        if isinstance(data, dict):
            data = cls.completed(data)
        made = handler(data)
        if isinstance(data, dict):
            made._given = tuple(data)
        return made

    @classmethod
    def completed(cls, data: dict[str, Any]) -> dict[str, Any]:
        """What was given, with what the way it was typed says beside it."""
        return data

    def fields(self) -> dict[str, object]:
        """The fields that were given, JSON-ready, in the order in which they came."""
        found = self.model_dump(mode="json", include=self.model_fields_set)
        return {name: found[name] for name in self._given or found}
