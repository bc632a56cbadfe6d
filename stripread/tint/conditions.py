"""How a copper test was made, and what a clear one therefore proves: less, the less was shown of it."""

from __future__ import annotations

from dataclasses import asdict, dataclass
from typing import Literal

from stripread.words import N_, _

Wash = Literal["acid", "neutral", "unknown"]
Water = Literal["soft", "hard", "unknown"]
Answer = Literal["yes", "no", "unknown"]
Ammonia = Literal["shown", "smelled", "short", "too acid", "lye", "unknown"]
Claim = Literal["copper", "absent", "absent from the liquid", "ammonia not shown", "ammonia short", "too acid", "none"]

# pH on the ammoniated drop. From 0.1 mol/L acid on, all copper is dissolved as ammine at 9.5 and more, and a strip's
# half unit below it (9.0) still holds 82 %; PHREEQC, tests/data/ammonia_test.csv.
EXCESS_PH = 9.5
# Below it the drop is still acid: no ammine and no hydroxide, so neither blue nor flakes (same table: pH 0.1 to 2).
ACID_PH = 7.0
LYE_PH = 12.5  # above it is lye: 14.8 mol/L of ammonia (Kb 1.8e-5, from memory) make 12.2
DROP_ML = 0.05  # of a dropper; from memory, and the size that the table takes


@dataclass(frozen=True)
class TintConditions:
    """The conditions of the test.

    ``wash``: the liquid before the ammonia. ``ammonia_excess``: by smell. ``ammonia_ph``: a strip's pH on the drop with
    the ammonia in it. ``flakes``: whether pale flakes float in it.
    """

    wash: Wash = "unknown"
    water: Water = "unknown"
    ammonia_excess: Answer = "unknown"
    ammonia_ph: float | None = None
    flakes: Answer = "unknown"

    @property
    def ammonia(self) -> Ammonia:
        """What is known of the ammonia: shown to be in excess only by a strip *and* no flakes.

        Near neutral the pH is 10.8 after one drop, and half a per cent of the copper dissolved: there flakes tell. In
        acid neither blue nor flakes show until the acid is used up: there the strip tells.
        """
        if self.ammonia_ph is not None and self.ammonia_ph < ACID_PH:
            return "too acid"
        if self.ammonia_ph is not None and self.ammonia_ph > LYE_PH:
            return "lye"
        short = self.ammonia_ph is not None and self.ammonia_ph < EXCESS_PH
        if self.flakes == "yes" or self.ammonia_excess == "no" or short:
            return "short"
        if self.ammonia_ph is not None and self.flakes == "no":
            return "shown"
        return "smelled" if self.ammonia_excess == "yes" else "unknown"

    def to_dict(self) -> dict[str, str | float | None]:
        """As JSON."""
        return asdict(self)


def dilution_of(sample_ml: float, drops: int = 0, added_ml: float = 0.0) -> float:
    """Volume after acid and ammonia were added over the sample's own; ``drops`` of DROP_ML each.

    Raises
    ------
    ValueError
        For a sample of no volume, or less than nothing added.
    """
    if not sample_ml > 0 or drops < 0 or not added_ml >= 0:
        raise ValueError(_("the sample needs a volume above 0, and what was added can't be less than nothing"))
    return (sample_ml + drops * DROP_ML + added_ml) / sample_ml


_NOT_SHOWN = N_(
    "No blue is seen. Whether ammonia was in excess was {how}: dip a strip into the drop (pH 9.5 "
    "or more) and look for flakes; if it was not, this says nothing of copper."
)


def claim(decision: str, conditions: TintConditions) -> tuple[Claim, str]:
    """What may be claimed of copper, as one of a few words and as a sentence."""
    if decision == "copper":
        return "copper", _("There is copper in the liquid.")
    if decision != "none seen":
        return "none", _("Nothing is claimed of copper.")
    if conditions.ammonia != "shown":
        return _unproven(conditions)
    if conditions.wash == "acid" or conditions.water == "soft":
        return "absent", _("No copper above the limit.")
    if conditions.water == "hard":
        return "absent from the liquid", _("No copper above the limit in the liquid; the solid may hold some.")
    text = _("No copper above the limit in the liquid. Wash or water was not told: of the solid nothing is claimed.")
    return "absent from the liquid", text


def _unproven(conditions: TintConditions) -> tuple[Claim, str]:
    """No blue, and ammonia in excess not shown."""
    if conditions.ammonia == "too acid":
        text = _(
            "No blue is seen, which says nothing of copper: the drop is still acid (pH {ammonia_ph:g}). "
            "Add ammonia until a strip reads 9.5 or more.",
            ammonia_ph=conditions.ammonia_ph,
        )
        return "too acid", text
    if conditions.ammonia == "lye":
        text = _(
            "No blue is seen, which says nothing of copper: pH {ammonia_ph:g} is lye, not ammonia. "
            "Test again with ammonia.",
            ammonia_ph=conditions.ammonia_ph,
        )
        return "ammonia not shown", text
    if conditions.ammonia == "short":
        return "ammonia short", _("No blue is seen, which says nothing of copper: ammonia was short.")
    how = _("smelled, not shown") if conditions.ammonia == "smelled" else _("not told")
    acid = _("In acid, too little ammonia gives neither blue nor flakes.") if conditions.wash == "acid" else ""
    return "ammonia not shown", f"{_(_NOT_SHOWN, how=how)} {acid}".rstrip()
