"""One pH reading of a decanted wash, as the forecast and the gate see it."""

from __future__ import annotations

import math
from dataclasses import dataclass

from stripread.words import _

MODEL_SD = 0.08  # pH: activity, salt error of the dye, temperature; of the size the dilution table shows
DOUBTED = 2.0  # a doubtful reading's standard deviation counts as so many times its own; common practice, no source


@dataclass(frozen=True)
class Reading:
    """One reading of a decanted wash: wash number (0: the first liquid), pH, its 95 % interval.

    ``bound`` says that the strip's range ended there: -1 the pH is at most so much, 1 at least. ``name`` is how to call
    it when asking back, ``at`` when it was taken (ISO time), ``part`` the washing that it belongs to by the batch's
    notes: acid, then lye, then an acid rinse. ``apart`` is how far it lies from the rinse water, as a strip beside it
    in the same photo told: the difference in pH and its 95 % interval.
    """

    wash: int
    ph: float
    interval: tuple[float, float]
    bound: int = 0
    name: str = ""
    at: str = ""
    part: int = 0
    doubtful: bool = False
    apart: tuple[float, tuple[float, float]] | None = None

    @property
    def limit(self) -> float:
        """The value, or the end of the interval that a bound stands for."""
        return self.ph if self.bound == 0 else self.interval[1] if self.bound < 0 else self.interval[0]

    @property
    def sd(self) -> float:
        """Standard deviation of the pH, the model's own doubt added."""
        half = max(self.interval[1] - self.ph, self.ph - self.interval[0], 0.05) * (DOUBTED if self.doubtful else 1.0)
        # Little acid is left above pH 4 and below 10: there the strip's own dye and paper hold the pH back.
        weak = 0.2 if 4.0 < self.ph < 10.0 else 0.0
        return math.sqrt((half / 1.96) ** 2 + MODEL_SD**2 + weak**2)

    @property
    def called(self) -> str:
        """How to ask about it: "entry 7 (wash 12, pH 2.5)"."""
        if not self.name:
            return _("wash {wash} (pH {ph:.1f})", wash=self.wash, ph=self.ph)
        return _("{name} (wash {wash}, pH {ph:.1f})", name=self.name, wash=self.wash, ph=self.ph)

    @property
    def at_start(self) -> str:
        """The same at the start of a sentence; pH keeps its capital."""
        return self.called[:1].upper() + self.called[1:]
