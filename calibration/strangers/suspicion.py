"""What may be wrong with photos of a calibration, how sure that is, and the sentence that says what to do."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from calibration.known_pads import KnownPads
from stripread.words import _

Way = Literal["exchanged", "elsewhere", "foreign", "apart", "other_print"]


@dataclass(frozen=True)
class Suspicion:
    """What may be wrong, how sure that is (chance, 0 to 1), and the photos it is about, as numbers in their order.

    way: "exchanged": the photos of the first pH lie at the second and the other way round; "elsewhere": they fit
    ``fits``, the pH of others; "foreign": they fit nowhere on the curve of the others; "apart": photos of one liquid
    show two colours, and nothing tells which is right; "other_print": their card is not the others'.
    """

    way: Way
    photos: tuple[int, ...]
    said: tuple[float, ...]
    fits: tuple[float, ...]
    chance: float


def in_words(found: Suspicion, known: list[KnownPads], names: list[str] | None = None) -> str:
    """A suspicion as a sentence that says what to do; ``names``: what the liquid of each photo was called."""
    names = names or [f"pH {k.ph:g}" for k in known]
    files = ", ".join(known[i].photo_name for i in found.photos)
    if found.way == "exchanged":
        first = names[found.photos[0]]
        other = next(names[i] for i in found.photos if known[i].ph != known[found.photos[0]].ph)
        return _(
            "{files}: {first} and {other} read as each other. Were the two mixed up? If so, put their pH right; else "
            "dip new strips in both.",
            files=files,
            first=first,
            other=other,
        )
    if found.way == "elsewhere":
        return _(
            "{files}: fits pH {fits:.1f}, not {said:.2f}. Look at the label, at the temperature and at what the strip "
            "was dipped in; put it right, or leave the photo out.",
            files=files,
            fits=found.fits[0],
            said=found.said[0],
        )
    if found.way == "apart":
        return _(
            "{files}: said to be of one liquid, {liquid}, but the pads have two colours. One is of another liquid or "
            "of a strip of another bottle or sort. Dip a new strip, photograph it, and take out the one that differs.",
            files=files,
            liquid=names[found.photos[0]],
        )
    if found.way == "other_print":
        return _(
            "{files}: shows another print of the card than the other photos. Colours can't be compared between prints. "
            "Take it out, and photograph a new strip on the card that the others show.",
            files=files,
        )
    return _(
        "{files}: fits nowhere on the curve of the others. Is it a strip of another bottle or sort, beside a card of "
        "another print, or dipped long before? Leave it out, or photograph a new strip.",
        files=files,
    )
