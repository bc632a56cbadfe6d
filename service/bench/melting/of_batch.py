"""The melts of a batch by its notes, and the silver that it weighed in the end: bars, else the metal's last weight."""

from __future__ import annotations

from collections.abc import Sequence

from service.bench.chemistry.reagents import Span
from service.bench.melting.fineness import Fineness, by_assay, by_density, not_said
from service.bench.melting.melt import Bar, Melt, Weighed, melt_of
from service.bench.notes import BarNote, MeltNote, Note, Weight
from service.bench.weighings import lots_of, metal_weighings

SCALE_G = 0.1  # half the width of a scale's doubt where nobody said; common practice, no source
SAME_BAR = 0.01  # share of its mass by which a bar weighed again may differ, filed or by a coarse scale
HANGING_SCALE_G = 0.01  # the same of a scale that a bar hangs from: a coarser one tells no density


def melts_of(notes: Sequence[Note]) -> tuple[Melt, ...]:
    """Each melt with the bars written down after it and before the next one; ``notes`` those that count, in order.

    A name that comes again is the same bar, weighed anew, within a melt. After a later melt it is so only where that
    has bars of its own already and the mass is the same: most people call the first bar of each melt by one name.

    Bars before any melt are one of which nothing was weighed but they.
    """
    groups: list[tuple[Weighed, dict[str, Bar]]] = []
    for note in notes:
        content = note.content
        if isinstance(content, MeltNote):
            groups.append((weighed_of(content), {}))
        elif isinstance(content, BarNote):
            bar = bar_of(content, note.at)
            if not groups:
                groups.append((Weighed(), {}))
            _bars_with(bar, [bars for _weighed, bars in groups])[_name(bar.name)] = bar
    return tuple(melt_of(weighed, list(bars.values())) for weighed, bars in groups)


def _bars_with(bar: Bar, melts: Sequence[dict[str, Bar]]) -> dict[str, Bar]:
    """The bars of the melt that this one is of; ``melts`` in their order."""
    newest, name = melts[-1], _name(bar.name)
    if newest and name not in newest:
        for bars in melts[-2::-1]:
            if name in bars and abs(bars[name].grams - bar.grams) <= SAME_BAR * bar.grams:
                return bars
    return newest


def bar_of(note: BarNote, at: str = "") -> Bar:
    """A bar as its note has it; a density that can't be tells nothing of its fineness, and says so."""
    return Bar(note.name, note.grams, SCALE_G if note.scale_g is None else note.scale_g, _fineness(note), at)


def _fineness(note: BarNote) -> Fineness:
    if note.assay is not None:
        return by_assay(note.assay)
    if note.in_water_g is None:
        return not_said()
    scale = HANGING_SCALE_G if note.scale_g is None else note.scale_g
    try:
        return by_density(
            note.grams,
            note.in_water_g,
            temp_c=20.0 if note.water_c is None else note.water_c,
            scale_g=scale,
            other=note.other,
        )
    except ValueError as problem:
        sentence = str(problem)
        return Fineness("not said", None, f"{sentence[:1].upper()}{sentence[1:]}.")


def silver_weighed(notes: Sequence[Note], melts: Sequence[Melt]) -> Span | None:
    """Silver at the end, g, (low, value, high): of all bars, else the metal's last weight, its lots added up."""
    bars = [melt.silver_g for melt in melts if melt.bars]
    if bars:
        return sum(s[0] for s in bars), sum(s[1] for s in bars), sum(s[2] for s in bars)
    metal = [w for w in metal_weighings(notes) if w.grams > 0.0]  # 0 g is no weight
    if not metal:
        return None
    lots = lots_of(metal, metal[-1].of)
    grams, doubt = sum(lot.grams for lot in lots), sum(lot.scale_g for lot in lots)
    return max(0.0, grams - doubt), grams, grams + doubt


def melted(notes: Sequence[Note]) -> bool:
    """Whether what was weighed last of the metal is a bar, or melted silver, and no powder."""
    found = [
        isinstance(n.content, BarNote) or n.content.of == "silver"
        for n in notes
        if isinstance(n.content, BarNote) or (isinstance(n.content, Weight) and n.content.of in ("powder", "silver"))
    ]
    return bool(found) and found[-1]


def weighed_of(note: MeltNote) -> Weighed:
    """What a melt's note says was weighed."""
    scale = SCALE_G if note.scale_g is None else note.scale_g
    return Weighed(note.powder_g, note.flux_g, note.slag_g, note.crucible_before_g, note.crucible_after_g, scale)


def _name(name: str) -> str:
    return " ".join(name.casefold().split())
