"""What is said of the liquid of a photo at known pH: one of the table with its temperature, or a pH of one's own."""

from __future__ import annotations

from dataclasses import dataclass

from calibration.liquids.table import liquid_ph, liquids
from calibration.tables import PH_SD
from service.errors import WrongStatement
from stripread.words import _


@dataclass(frozen=True)
class SaidLiquid:
    """A liquid with its pH and the standard deviation of that; ``liquid`` is its key, or the user's own name for it."""

    liquid: str
    ph: float
    ph_sd: float


def said_liquid(liquid: str, temp_c: float | None, ph: float | None, ph_sd: float | None) -> SaidLiquid:
    """The liquid that a user names: by its key and temperature, or by a pH (of a label, of a meter).

    Raises
    ------
    WrongStatement
        If it is neither, or its table does not reach to that temperature.
    """
    key = liquid.strip().lower()
    if ph is not None:
        return SaidLiquid(liquid.strip() or f"pH {ph:g}", ph, PH_SD if ph_sd is None else ph_sd)
    if key not in liquids():
        known = ", ".join(liquids())
        raise WrongStatement(
            "which_liquid",
            _("Say what the strip was dipped in: a pH, or one of these with its temperature: {known}.", known=known),
        )
    if temp_c is None:
        raise WrongStatement("which_temperature", _("Say how warm the liquid was: its pH goes with it."))
    try:
        value, sd = liquid_ph(key, temp_c)
    except ValueError as wrong:
        raise WrongStatement("wrong_temperature", f"{str(wrong)[:1].upper()}{str(wrong)[1:]}.") from None
    return SaidLiquid(key, value, max(sd, ph_sd or 0.0))
