"""Dilute hydrochloric acid made from a bottle: how much of it, into how much water, and what it can dissolve."""

from __future__ import annotations

from dataclasses import dataclass

from service.bench.chemistry.reagents import written
from service.bench.lye_plan import bought_words
from service.bench.notes import AcidRinse
from service.bench.quantities import WrongQuantity
from service.bench.vessel.bottles import bottle_of_text, with_bottles
from service.bench.vessel.neutralisers import Bought, Form, acids, as_bought
from stripread.errors import CallError
from stripread.words import N_, _, say

CHALK_G_MOL = 50.04  # g of chalk that a mol of acid dissolves: half of CaCO3, 100.09 g/mol, IUPAC atomic weights
HCL = "hydrochloric acid (as HCl)"
# From memory, not looked up.
CAUTIONS = (
    N_(
        "Acid into cold water, a little at a time, never water into acid. Goggles and gloves; outdoors or under a hood."
    ),
    N_("Never near bleach, cyanide or sulfide: poison gas. Zinc, iron and aluminium give hydrogen with it."),
)


@dataclass(frozen=True)
class AcidPlan:
    """Pure acid, mol; of each form that is sold, or of one's own bottle, how much; ``said`` as what and how much."""

    mol: float
    litres: float
    bought: tuple[Bought, ...]
    chalk_g: float
    said: tuple[tuple[str, str], ...]
    cautions: tuple[str, ...]


def acid_plan(litres: float, mol_l: float = 0.1, bottle: str | None = None) -> AcidPlan:
    """``litres`` of hydrochloric acid of ``mol_l``, from the bottle described ("31 %, 1.15 g/ml"), else as it is sold.

    Raises
    ------
    WrongQuantity
        For a strength above 2 mol/L, or above the bottle's own.
    CallError
        For a bottle that can't be read or be.
    """
    if not 0.0 < mol_l <= 2.0:
        raise WrongQuantity(_("dilute acid has up to 2 mol/L, not {mol_l:g}; a rinse takes about 0.1", mol_l=mol_l))
    one = acids()[HCL]
    if bottle is not None:
        one = with_bottles(one, [bottle_of_text(f"{one.trade[0]}: {bottle}", acids())])
    mol = litres * mol_l
    bought = one.bought(one.grams((mol, mol, mol)))
    if any(b.unit == "mL" and b.amount[1] > 1000.0 * litres for b in bought):
        raise WrongQuantity(
            _("that bottle is weaker than {mol_l:g} mol/L: take it as it is, or a stronger one", mol_l=mol_l)
        )
    chalk = CHALK_G_MOL * mol
    said = [
        (
            _("Acid") if place == 0 else "",
            _("{form}: {amount}", form=say(b.form), amount=bought_words(b, None)),
        )
        for place, b in enumerate(bought)
    ]
    full = _("fill up to {litres} L", litres=written(litres))
    if len(bought) > 1:
        full = _("fill up to {litres} L, one of them", litres=written(litres))
    said.append((_("Water"), full))
    said.append(
        (
            _("In it"),
            _("{mol} mol of acid: dissolves up to {chalk} g of chalk", mol=written(mol), chalk=written(chalk, 2)),
        )
    )
    return AcidPlan(mol, litres, bought, chalk, tuple(said), tuple(map(say, CAUTIONS)))


def rinse_mol(rinse: AcidRinse) -> float:
    """Acid of a rinse, mol, as said or by its bottle; 0 where a log has a bottle that nobody can read.

    >>> rinse_mol(AcidRinse(acid_mol=0.1, oxide_silver_g=0.0))
    0.1
    """
    try:
        return checked_rinse_mol(rinse)
    except CallError:
        return 0.0


def checked_rinse_mol(rinse: AcidRinse) -> float:
    """As ``rinse_mol``.

    Raises
    ------
    CallError
        For a bottle that can't be read or be.
    """
    if rinse.acid_mol is not None:
        return rinse.acid_mol
    return mol_of(rinse.acid_ml or 0.0, rinse.bottle or "")


def mol_of(ml: float, bottle: str) -> float:
    """Acid, mol, in so many mL of hydrochloric acid as its bottle is described.

    Raises
    ------
    CallError
        For a bottle that can't be read or be.
    """
    one = acids()[HCL]
    form = bottle_of_text(f"{one.trade[0]}: {bottle}", acids()).form
    if form.density is None and form.g_per_ml is None:
        form = Form(form.name, form.percent, 1.0 + one.swells * (form.percent or 0.0))  # by volume all the same
    per_ml = as_bought(one.grams((1.0, 1.0, 1.0)), form).amount[1]
    return ml / per_ml
