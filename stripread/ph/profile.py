"""A profile: everything learned about one sort of strip with one printed card, and its file.

The file is TOML, made to be read, compared and mailed. Long tables stand in it as text, one pH a line. Reading needs
no optimiser: the curve is there as a table, and the model's parameters only say where it came from.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import tomli_w
from numpy.typing import NDArray

from stripread.card.layout import VERSION as CARD_VERSION
from stripread.card.layout import layout
from stripread.card.values import CardValues
from stripread.colour import lab_to_rgb, rgb_to_lab
from stripread.errors import CallError
from stripread.kind import StripKind, kind_from_dict
from stripread.ph.curve import Lot, Scatter, StripCurve, StripModel
from stripread.ph.phones.known import KnownPhone
from stripread.ph.phones.taken import Taken
from stripread.ph.quality import KnownPhoto, Quality
from stripread.user_file import fitted, toml_table, user_text
from stripread.words import _

if TYPE_CHECKING:
    from stripread.file_models import CardFile

Array = NDArray[np.float64]
Evidence = Literal["buffers", "chart and buffers", "chart only"]

FORMAT = 1
_WHAT = "stripread profile"
_LSTAR = 116.0  # one unit of cube-root RGB in L*
MOST_GRID = 5_000  # lines of a curve's table: a hundred times what is written
ENOUGH_POINTS = 4  # fewer buffers than this show nothing between them


@dataclass(frozen=True)
class Profile(StripModel):
    """One strip kind learned. ``model`` names the curve's model and ``why`` says how it was chosen."""

    name: str
    kind: StripKind
    strip: StripCurve
    evidence: Evidence
    quality: Quality
    model: str
    why: str
    photos: tuple[KnownPhoto, ...]
    software: str
    made: str  # ISO 8601, UTC
    card_values: CardValues | None = None
    card_version: str = CARD_VERSION
    parameters: dict[str, Any] = field(default_factory=dict)
    phones: tuple[KnownPhone, ...] = ()

    def __post_init__(self) -> None:
        if self.strip.pads != len(self.kind.pads):
            sizes = _("the curve has {pads} pads, the kind {n_pads}", pads=self.strip.pads, n_pads=len(self.kind.pads))
            raise CallError(_("profile '{name}': {sizes}", name=self.name, sizes=sizes))

    @property
    def photos_per_point(self) -> dict[float, int]:
        """Number of photos at each known pH."""
        counts: dict[float, int] = {}
        for photo in self.photos:
            if photo.ph == photo.ph:
                counts[photo.ph] = counts.get(photo.ph, 0) + 1
        return dict(sorted(counts.items()))

    @property
    def has_evidence(self) -> bool:
        """Whether the profile may show an interval narrower than the trade's standard allows (ASTM D8294-21).

        It needs buffers of its own, several of them, at least half of them photographed more than once, and a
        leave-one-out error that could be computed.
        """
        counts = list(self.photos_per_point.values())
        repeated = sum(c > 1 for c in counts)
        return (
            self.evidence != "chart only"
            and len(counts) >= ENOUGH_POINTS
            and 2 * repeated >= len(counts)
            and self.quality.loo_rms == self.quality.loo_rms
        )


def save_profile(profile: Profile, path: Path) -> None:
    """Write the profile's file.

    Raises
    ------
    CallError
        If it can't be written.
    """
    try:
        path.write_text(profile_text(profile), encoding="utf-8")
    except OSError as problem:
        raise CallError(_("can't write the profile {path}: {strerror}", path=path, strerror=problem.strerror)) from None


def load_profile(path: Path) -> Profile:
    """Read a profile's file.

    Raises
    ------
    CallError
        If it is missing, broken, of a newer format, or not a profile at all.
    """
    return profile_from_text(user_text(path, "profile"), str(path))


def profile_text(profile: Profile) -> str:
    """The profile as the text of its file."""
    from stripread.file_models import ProfileFile  # noqa: PLC0415 - models load where a file is read

    q, s = profile.quality, profile.strip
    table: dict[str, Any] = {
        "what": _WHAT,
        "format": FORMAT,
        "name": profile.name,
        "software": profile.software,
        "made": profile.made,
        "evidence": profile.evidence,
        "kind": profile.kind.to_dict(),
        "fit": {
            "model": profile.model,
            "why": profile.why,
            "points": q.points,
            "photos": q.photos,
            "loo_rms_ph": _short(q.loo_rms),
            "loo_mean_ph": _short(q.loo_mean),
            "loo_worst_ph": _short(q.loo_worst),
            "loo_coverage": _short(q.loo_coverage),
            "chi_square": _short(q.chi_square),
            **({"exchanged": q.exchanged} if q.exchanged else {}),
            "parameters": profile.parameters,
        },
        "scatter": {"common": [_short(v) for v in s.scatter.common], "own": [_short(v) for v in s.scatter.own]},
        "lot": {"shift": s.lot.shift, "load": s.lot.load, "lightness": s.lot.lightness, "through": s.lot.through},
        "photos": [
            {"file": p.file, "sha256": p.sha256}
            | ({} if math.isnan(p.ph) else {"ph": _short(p.ph), "ph_sd": _short(p.ph_sd)})
            | ({} if p.taken.phone is None else {"phone": p.taken.phone, "light": list(p.taken.light)})
            for p in profile.photos
        ],
        **({"phones": [_phone_table(phone) for phone in profile.phones]} if profile.phones else {}),
        "card": {"version": profile.card_version, **_card_tables(profile.card_values)},
        "curve": {
            "columns": "pH, then L a b of each pad from the dipped end (CIELAB, D50, relative to the card's paper)",
            "lab": _grid_text(s.ph, s.lab.reshape(len(s.ph), -1), 2),
            "cov_columns": "pH, then the lower triangle, row by row, of F where F F' is the curve's covariance",
            "cov_factor": _grid_text(s.cov_ph, s.cov_factor[:, *np.tril_indices(3 * s.pads)], 3),
        },
    }
    fitted(ProfileFile, table, profile.name, _("the profile"))  # what is written can be read again
    return tomli_w.dumps(table, multiline_strings=True)


def profile_from_text(text: str, where: str) -> Profile:
    """Build a profile from its file's text; ``where`` names it in messages.

    Raises
    ------
    CallError
        As ``load_profile``.
    """
    table = toml_table(text, where, _("a profile"))
    if table.get("what") != _WHAT:
        raise CallError(_("{where} is not a profile that `stripread calibrate` wrote", where=where))
    version = table.get("format")
    if not isinstance(version, int) or isinstance(version, bool):
        raise CallError(_("{where}: the profile does not say its format", where=where))
    if version > FORMAT:
        raise CallError(
            _(
                "{where} was made by a newer version ({table}): update this program",
                where=where,
                table=table.get("software"),
            )
        )
    try:
        return _build(table, where)
    except KeyError as missing:
        raise CallError(_("{where}: the profile lacks {missing}", where=where, missing=missing)) from None
    except (TypeError, ValueError, IndexError) as problem:
        raise CallError(_("{where}: the profile is broken ({problem})", where=where, problem=problem)) from None


def _build(table: dict[str, Any], where: str) -> Profile:
    from stripread.file_models import ProfileFile  # noqa: PLC0415 - models load where a file is read

    given = fitted(ProfileFile, table, where, _("the profile"))
    kind = kind_from_dict(table["kind"], where)
    size = 3 * len(kind.pads)
    ph, lab = _grid_table(given.curve.lab, size, "curve")
    cov_ph, lower = _grid_table(given.curve.cov_factor, size * (size + 1) // 2, "cov_factor")
    factor = np.zeros((len(cov_ph), size, size))
    factor[:, *np.tril_indices(size)] = lower
    strip = StripCurve(
        ph,
        lab.reshape(len(ph), -1, 3),
        cov_ph,
        factor,
        Scatter(_three(given.scatter.common), _three(given.scatter.own)),
        Lot(**given.lot.model_dump(exclude_none=True)),
    )
    fit = given.fit
    quality = Quality(
        fit.points,
        fit.photos,
        fit.loo_rms_ph,
        fit.loo_mean_ph,
        fit.loo_worst_ph,
        fit.loo_coverage,
        fit.chi_square,
        fit.exchanged,
    )
    photos = tuple(
        KnownPhoto(p.file, p.sha256, _or_nan(p.ph), _or_nan(p.ph_sd), Taken(p.phone, tuple(p.light)))
        for p in given.photos
    )
    return Profile(
        name=given.name,
        kind=kind,
        strip=strip,
        evidence=given.evidence,
        quality=quality,
        model=fit.model,
        why=fit.why,
        photos=photos,
        software=given.software,
        made=given.made,
        card_values=_card_values(given.card),
        card_version=given.card.version,
        parameters=dict(table["fit"].get("parameters", {})),
        phones=tuple(KnownPhone(p.phone, p.photos, p.share, p.curve) for p in given.phones),
    )


def _phone_table(phone: KnownPhone) -> dict[str, Any]:
    """A phone that the profile knows; its lights stand with the photos."""
    return {"phone": phone.phone, "photos": phone.photos, "share": _short(phone.share), "curve": _short(phone.curve)}


def _card_tables(values: CardValues | None) -> dict[str, str]:
    """The card's patches as text: L a b relative to the card's paper, and the doubt of each in L*."""
    if values is None:
        return {"source": "none"}
    lab = np.round(rgb_to_lab(values.rgb), 3) + 0.0  # minus zero is written as zero
    lines = [
        f"{patch.id:<6} {row[0]:8.3f} {row[1]:8.3f} {row[2]:8.3f} {sd * _LSTAR:6.3f}"
        for patch, row, sd in zip(layout().patches, lab, values.sd, strict=True)
    ]
    text = "\n".join(["", *lines, ""])
    return {"source": values.source, "columns": "patch, L a b, standard deviation", "patches": text}


def _card_values(table: CardFile) -> CardValues | None:
    if table.source == "none":
        return None
    rows = [line.split() for line in table.patches.splitlines() if line.strip()]
    if [row[0] for row in rows] != [patch.id for patch in layout().patches]:
        raise ValueError(
            _(
                "made with card version {version}, this is for {card_version}: calibrate again",
                version=table.version,
                card_version=CARD_VERSION,
            )
        )
    numbers = _finite(np.array([[float(v) for v in row[1:]] for row in rows]), (4,), "card")
    return CardValues(lab_to_rgb(numbers[:, :3]), numbers[:, 3] / _LSTAR, table.source)


def _grid_text(ph: Array, rows: Array, digits: int) -> str:
    """A table as text, the pH first, one line each. Minus zero is written as zero."""
    rounded = np.round(rows, digits) + 0.0
    lines = [f"{x:6.2f} " + " ".join(f"{v:.{digits}f}" for v in row) for x, row in zip(ph, rounded, strict=True)]
    return "\n".join(["", *lines, ""])


def _grid_table(text: str, width: int, what: str) -> tuple[Array, Array]:
    """The way back from ``_grid_text``: pH (N,) and rows (N, width)."""
    lines = [line.split() for line in text.splitlines() if line.strip()]
    if len(lines) > MOST_GRID:
        raise ValueError(_("{what}: more than {most_grid} lines", what=what, most_grid=MOST_GRID))
    rows = _finite(np.array([[float(v) for v in line] for line in lines]), (width + 1,), what)
    if len(rows) < 2 or (np.diff(rows[:, 0]) <= 0).any():
        raise ValueError(_("{what}: pH must rise from line to line", what=what))
    return rows[:, 0], rows[:, 1:]


def _finite(rows: Array, shape: tuple[int, ...], what: str) -> Array:
    if rows.ndim != 2 or rows.shape[1:] != shape or not np.isfinite(rows).all() or np.abs(rows).max() > 1e4:
        raise ValueError(
            _("{what}: wanted {shape_0} finite numbers a line, none beyond 10,000", what=what, shape_0=shape[0])
        )
    return rows


def _three(values: list[float]) -> tuple[float, float, float]:
    a, b, c = (float(v) for v in values)
    return a, b, c


def _short(value: float) -> float:
    """Four digits after the point: nobody reads more. NaN stays (TOML has it)."""
    return round(float(value), 4)


def _or_nan(value: float | None) -> float:
    return math.nan if value is None else value
