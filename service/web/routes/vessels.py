"""Where a batch's silver is, over HTTP: its vessels with their ranges, and what may be missing."""

from __future__ import annotations

from fastapi import APIRouter

from service.bench.ledger.view import LedgerView, ledger_view
from service.log.course.vessels import batch_ledger
from service.web.components import ServiceDep
from service.web.problems import responses
from service.web.routes.batches import BatchId

router = APIRouter(prefix="/api", tags=["bench"], responses=responses(401, 403, 421, 422, 429, 500, 503))


@router.get("/batches/{batch}/vessels", responses=responses(404))
def vessels(batch: BatchId, service: ServiceDep) -> LedgerView:
    """Silver in each vessel of the batch, where some may be missing, and whether it all adds up.

    Notes say what went where (`named_vessel`, `vessel_holds`, `moved`, `filtered`, `evaporated`, `spilled`,
    `vessel_weighed`, `handed_over`, beside `decant`, `poured` and `weight`); weighings tell where a loss would be.
    """
    with service.database.read() as c:
        return ledger_view(batch_ledger(c, batch))
