"""Where a batch's silver is, over HTTP: its vessels with their ranges, and what may be missing."""

from __future__ import annotations

from dataclasses import asdict

from fastapi import APIRouter
from pydantic import BaseModel, Field
from sqlalchemy import Connection

from service.bench.chemistry.reagents import Span
from service.bench.ledger.view import LedgerView, ledger_view
from service.log.course.vessels import batch_ledger
from service.log.noted.stock_silver import shared_stock
from service.web.components import ServiceDep
from service.web.problems import responses
from service.web.routes.batches import BatchId

router = APIRouter(prefix="/api", tags=["bench"], responses=responses(401, 403, 421, 422, 429, 500, 503))


class SharedStockOut(BaseModel):
    """Silver in the stock vessel over all batches since it was handed over, by their notes."""

    silver_g: Span = Field(
        description="(low, value, high), 95 % of what may be; what errs alike in batches is added so."
    )
    batches: int
    sentence: str


class BatchVessels(LedgerView):
    """A batch's silver over all its vessels, and the stock vessel's over all batches."""

    shared_stock: SharedStockOut | None


def stock_out(c: Connection) -> SharedStockOut | None:
    """The stock vessel's silver over all batches, as it leaves the log."""
    found = shared_stock(c)
    return None if found is None else SharedStockOut(**asdict(found))


@router.get("/batches/{batch}/vessels", responses=responses(404))
def vessels(batch: BatchId, service: ServiceDep) -> BatchVessels:
    """Silver in each vessel of the batch, where some may be missing, and whether it all adds up.

    Notes say what went where (`named_vessel`, `vessel_holds`, `moved`, `filtered`, `evaporated`, `spilled`,
    `vessel_weighed`, `handed_over`, beside `decant`, `poured` and `weight`); weighings tell where a loss would be.
    """
    with service.database.read() as c:
        return BatchVessels(**vars(ledger_view(batch_ledger(c, batch))), shared_stock=stock_out(c))
