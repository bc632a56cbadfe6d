"""What is stated of a draft beside its photos: the strip kind of a profile, the maker's chart."""

from __future__ import annotations

import tomllib
from typing import Any

from sqlalchemy import Connection

from calibration.tables import Swatch, check_chart
from service.errors import Conflict, WrongStatement
from service.log.calibrations import drafts
from service.web.calibrating.models import CalibrationOut
from service.web.calibrating.told import draft_out
from stripread.errors import CallError
from stripread.words import _


def kind_of(text: str) -> dict[str, Any]:
    """The strip kind in a profile's text.

    Raises
    ------
    Conflict
        If there is none.
    """
    try:
        kind = tomllib.loads(text)["kind"]
    except (tomllib.TOMLDecodeError, KeyError):
        raise Conflict("no_kind", _("That profile says nothing of its strip: describe the strip instead.")) from None
    return dict(kind)


def with_chart(c: Connection, calibration: int, fields: list[dict[str, Any]]) -> CalibrationOut:
    """Give a draft its chart, once every pad of every pH is there.

    Raises
    ------
    WrongStatement
        If one lacks.
    """
    draft = drafts.open_calibration(c, calibration)
    pads = len(draft["kind"]["pads"])
    try:
        for field in fields:
            if field["pad"] >= pads:
                raise CallError(_("this strip has {pads} pads, counted from 0", pads=pads))
        if fields:
            check_chart([Swatch(f["ph"], f["pad"], (0.0, 0.0, 0.0)) for f in fields], pads, _("the chart"))
    except CallError as wrong:
        raise WrongStatement("bad_chart", f"{str(wrong)[:1].upper()}{str(wrong)[1:].rstrip('.')}.") from None
    drafts.set_chart(c, calibration, fields)
    return draft_out({**drafts.known_calibration(c, calibration), "photos": len(drafts.photos_of(c, calibration))})
