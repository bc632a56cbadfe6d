"""Notes about the test with ammonia when it is over."""

from __future__ import annotations

from typing import Annotated

from service.bench.note_fields import Asked, Number
from service.bench.notes.content import PH, Content


class VialsAcidified(Content):
    """The vials of the test with ammonia were acidified: all that were made until then. ``ph`` where a strip told."""

    kind = "acidified"
    label = "Test vials were acidified"
    ph: Annotated[Number, PH, Asked("pH of them then, if read (2 is wanted)")] | None = None

    @property
    def acid_enough(self) -> bool:
        """Whether that is acid enough, as far as it was read: pH 2 is asked for, and a strip is no better than one."""
        return self.ph is None or self.ph <= 3.0
