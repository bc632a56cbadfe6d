"""What a bench may ask for, address by address. An address without a decision is not for benches.

A test walks over every address of the app and holds it against this table: a new one without a decision fails there.
"""

from __future__ import annotations

from enum import Enum

from fastapi import Request

from service.log import store
from service.log.fields import MAX_ID
from service.readers.threads import in_thread
from service.web.components import Service
from service.web.problems import ServiceProblem
from stripread.words import _


class For(Enum):
    """Whom an address is for, and what of it a bench finds."""

    ALL = "open to all, paired or not; nothing of a batch is told"
    EVERY_BENCH = "the same for every bench: arithmetic, forms, the card; what the stock vessel holds"
    OWN = "a bench's own batches, and nothing of others: there is none of another number"
    KEEPER = "not for a bench: profiles, strip kinds and the names of phones are the keeper's"
    HERE = "for the bench computer itself alone"


_ADDRESSES: dict[For, tuple[str, ...]] = {
    For.ALL: (
        "GET /",
        "GET /healthz",
        "GET /livez",
        "GET /readyz",
        "GET /metrics",
        "POST /api/join",
        "GET /trust",
        "GET /trust/ca.crt",
        "GET /trust/seen",
        "GET /trust/trust.js",
        "GET /trust/trust.css",
    ),
    For.EVERY_BENCH: (
        "GET /api/about",
        "GET /api/note-forms",
        "GET /api/procedures",
        "GET /api/stock",
        "GET /api/search/choices",
        "GET /api/liquids",
        "GET /api/card.pdf",
        "GET /api/card/layout",
        "POST /api/card/judge",
        "GET /api/plan/lye",
        "GET /api/plan/metal",
        "GET /api/plan/yield",
        "GET /api/plan/waste",
        "GET /api/plan/wash",
        "GET /api/plan/silver",
        "GET /api/plan/volume",
        "GET /api/plan/portions",
        "GET /api/plan/expected",
        "GET /api/plan/acid",
        "GET /api/plan/melt",
    ),
    For.OWN: (
        "GET /api/batches",
        "POST /api/batches",
        "GET /api/batches/{batch}",
        "PATCH /api/batches/{batch}",
        "GET /api/batches/{batch}/bench",
        "GET /api/batches/{batch}/export.csv",
        "GET /api/batches/{batch}/export.json",
        "GET /api/batches/{batch}/forecast",
        "GET /api/batches/{batch}/labels.pdf",
        "GET /api/batches/{batch}/notes",
        "POST /api/batches/{batch}/notes",
        "POST /api/batches/{batch}/notes/{note}/corrections",
        "POST /api/batches/{batch}/procedure",
        "GET /api/batches/{batch}/readings",
        "POST /api/batches/{batch}/readings",
        "GET /api/batches/{batch}/reminders",
        "GET /api/batches/{batch}/report.{form}",
        "POST /api/batches/{batch}/reread",
        "POST /api/batches/{batch}/stage",
        "GET /api/batches/{batch}/timeline",
        "GET /api/batches/{batch}/vessels",
        "GET /api/readings/{entry}",
        "POST /api/readings/{entry}/corrections",
        "GET /api/readings/{entry}/overlay",
        "GET /api/readings/{entry}/photo",
        "GET /api/readings/{entry}/share.png",
        "GET /api/readings/{entry}/thumbnail",
        "GET /api/labels/named",
        "POST /api/labels/read",
        "GET /api/compare",
        "GET /api/compare.csv",
        "GET /api/reminders",
        "GET /api/search",
    ),
    For.KEEPER: (
        "GET /api/phones",
        "PATCH /api/phones/{phone}",
        "GET /api/calibrations",
        "POST /api/calibrations",
        "GET /api/calibrations/{calibration}",
        "DELETE /api/calibrations/{calibration}",
        "POST /api/calibrations/{calibration}/cancel",
        "POST /api/calibrations/{calibration}/chart",
        "PUT /api/calibrations/{calibration}/chart",
        "GET /api/calibrations/{calibration}/curve.png",
        "POST /api/calibrations/{calibration}/next",
        "POST /api/calibrations/{calibration}/photos",
        "DELETE /api/calibrations/{calibration}/photos/{photo}",
        "POST /api/calibrations/{calibration}/run",
        "GET /api/profiles",
        "POST /api/profiles",
        "POST /api/profiles/{profile}/check",
        "GET /api/profiles/{profile}/checks",
        "POST /api/profiles/{profile}/current",
        "GET /api/profiles/{profile}/file",
        "GET /api/strip-kinds",
        "POST /api/strip-kinds",
        "POST /api/strip-kinds/describe",
        "GET /api/strip-kinds/{name:path}",
    ),
    For.HERE: (
        "GET /api/backup",
        "GET /api/benches",
        "POST /api/benches",
        "PATCH /api/benches/{bench}",
        "DELETE /api/benches/{bench}",
        "PUT /api/benches/{bench}/batches/{batch}",
        "DELETE /api/benches/{bench}/batches/{batch}",
        "POST /api/benches/{bench}/link",
        "POST /api/benches/{bench}/tokens",
        "DELETE /api/benches/{bench}/tokens/{token}",
        "GET /api/demo",
        "POST /api/demo",
        "GET /api/pairing",
        "GET /api/pairing/qr.svg",
        "POST /api/pairing/renew",
        "GET /api/sessions",
        "DELETE /api/sessions/{session}",
    ),
}
DECIDED = {address: whom for whom, addresses in _ADDRESSES.items() for address in addresses}


async def decided(request: Request) -> None:
    """Stand before every address of the app: what is not a bench's own is not there for it.

    Raises
    ------
    ServiceProblem
        403 for what is the keeper's, whatever is named in it.
    NotFound
        For a batch or a reading of another bench, as for one that there is not.
    """
    bench = request.state.bench
    if bench is None:
        return
    method = "GET" if request.method == "HEAD" else request.method
    whom = DECIDED.get(f"{method} {getattr(request.scope.get('route'), 'path', '')}", For.KEEPER)
    if whom is For.HERE:  # these refuse by themselves; nothing is to rest on one look
        raise ServiceProblem(403, "only_here", _("This can be done only on the bench computer itself."))
    if whom is For.KEEPER:
        raise ServiceProblem(403, "keeper_only", _("This is for the keeper. Ask who looks after the benches."))
    if whom is For.OWN and request.path_params:
        await in_thread(_need_own, request.app.state.service, request.path_params)


def _need_own(service: Service, named: dict[str, object]) -> None:
    """That batch and reading are the asker's; the store filters, here as everywhere."""
    with service.database.read() as c:
        if "batch" in named:
            store.known_batch(c, _number(named["batch"]))
        if "entry" in named:
            store.known_entry(c, _number(named["entry"]))


def _number(said: object) -> int:
    """A number as it stands in an address; 0, which nothing has, for what is none: its route says what is wrong."""
    text = str(said)
    number = int(text) if text.isascii() and text.isdigit() and len(text) <= 10 else 0
    return number if number <= MAX_ID else 0
