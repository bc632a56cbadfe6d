"""The demo over HTTP: the made-up workshop, in a service of its own beside this one; for the bench computer alone."""

from __future__ import annotations

from fastapi import APIRouter

from service.web.components import ServiceDep
from service.web.problems import ServiceProblem, responses
from service.web.routes.host.join import LOCAL
from service.web.schemas import DemoOut
from stripread.words import _

router = APIRouter(tags=["service"], responses=responses(401, 403, 421, 422, 429, 500, 503))


@router.get("/api/demo", dependencies=LOCAL)
def state(service: ServiceDep) -> DemoOut:
    """Whether the demo can be looked at, and where."""
    return DemoOut(**vars(service.demo.state()))


@router.post("/api/demo", dependencies=LOCAL, status_code=202, responses=responses(409))
def start(service: ServiceDep) -> DemoOut:
    """Start the demo in a folder of its own; ask again for where it is."""
    if not service.settings.demo_beside:
        raise ServiceProblem(409, "no_demo", _("This service starts no demo: `stripread serve --demo` is one."))
    return DemoOut(**vars(service.demo.start()))
