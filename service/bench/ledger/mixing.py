"""Liquids that go between vessels, and which of them must not meet, by the same rules as for the stock vessel.

Silver is taken to be in all of them. A liquid of which nobody said what it is may be acid and may be alkaline.
"""

from __future__ import annotations

from dataclasses import replace

from service.bench.ledger.vessels import scaled
from service.bench.notes.of_vessels import Mixture
from service.bench.procedure import SHIPPED, Stage, load_procedure
from service.bench.vessel.contents import Contents, Poured, contents_of
from service.bench.vessel.hazards import Stop, stops_between
from service.bench.vessel.substances import Kind

# Of these a rinsed paper holds too little to matter; of ammonia, nitrate, cyanide and the like it may not.
HARMLESS = {Kind.SILVER, Kind.CHLORIDE, Kind.ACID, Kind.LYE, Kind.COPPER, Kind.METAL, Kind.POWDER, Kind.ACTIVE_POWDER}
POWDERS = {Kind.POWDER, Kind.ACTIVE_POWDER, Kind.AMPHOTERIC_POWDER}
WET = 0.02  # share of a liquid that its paper keeps; common practice, no source
FORM_WORDS = {"silver chloride": "chloride", "silver oxide": "oxide", "silver powder": "metal"}


def poured_of(said: Mixture, litres: float, what: str) -> Poured:
    """What a note says of a liquid as the stock vessel's sum takes it."""
    contents = (*said.contents, "silver")
    return Poured(what, litres, said.ph, said.interval, said.mol, said.metals, said.ammonia, contents)


def liquid_of(said: Mixture, litres: float, what: str) -> Contents:
    """The liquid that a note speaks of."""
    return contents_of([poured_of(said, litres, what)])


def described(stage: Stage) -> tuple[str, ...]:
    """What the vessel of a stage holds, in the words of substances: by the stage, else by the shipped one of its id.

    The log keeps a procedure as it was when its batch began, which may be before procedures said it.
    """
    if stage.contents:
        return tuple(stage.contents)
    found = [one for shipped in map(load_procedure, SHIPPED) for one in shipped.stages if one.title == stage.title]
    return tuple(found[0].contents) if found else ()


def stage_liquid(stage: Stage | None, litres: float) -> Contents | None:
    """The liquid of the batch's own vessel at a stage; None where its procedure does not say what that is."""
    words = () if stage is None else described(stage)
    return contents_of([Poured("", litres, contents=words)]) if words else None


def stage_forms(stage: Stage | None) -> tuple[str, ...]:
    """The forms of solid silver at a stage: chloride, oxide, metal."""
    return () if stage is None else tuple(FORM_WORDS[word] for word in described(stage) if word in FORM_WORDS)


def left_on_paper(liquid: Contents | None) -> Contents | None:
    """What a paper brings along when it is rinsed: water, but for what is dangerous in traces; None where unknown."""
    if liquid is None:
        return None
    if liquid.kinds <= HARMLESS:
        return contents_of([Poured("", 0.0, mol=0.0, contents=("silver",))])
    return scaled(liquid, WET)


def through_paper(liquid: Contents | None) -> Contents | None:
    """What goes through a paper: the liquid without its powders."""
    return None if liquid is None else replace(liquid, kinds=liquid.kinds - POWDERS)


def unknown_liquid() -> Contents:
    """What nobody described: silver in it, and it may be acid and may be alkaline."""
    return contents_of([Poured("", 0.0, contents=("silver",))])


def stops_of(source: Contents | None, target: Contents | None) -> tuple[Stop, ...]:
    """Every danger of the one in the other; none in a vessel that was empty, where it stays what it was."""
    if target is None or not (target.litres or target.kinds):
        return ()
    return stops_between(target, source or unknown_liquid())
