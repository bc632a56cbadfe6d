"""A back-up over HTTP: the whole log as a download, on the bench computer alone.

Photos leave here as they were sent, with place and owner in them, which no phone ever gets to see.
"""

from __future__ import annotations

import secrets
from collections.abc import Callable
from typing import Any

from fastapi import APIRouter, Depends, Request, Response
from fastapi.responses import StreamingResponse
from starlette.types import Receive, Scope, Send

from service.errors import BenchBusy
from service.log.archive.backup import Backup, prepare
from service.web.components import ServiceDep
from service.web.guard import check_same_site
from service.web.problems import responses
from service.web.routes.host.join import LOCAL
from stripread.words import _

router = APIRouter(prefix="/api/backup", tags=["service"], responses=responses(401, 403, 421, 422, 429, 500, 503))
_TAR: dict[int | str, dict[str, Any]] = {200: {"content": {"application/x-tar": {}}}}


def _own_page(request: Request) -> None:
    """Another site's page could not read the answer, but let the bench computer do all the work again and again."""
    check_same_site(request.headers, request.headers.get("host", ""))


@router.get(
    "",
    dependencies=[*LOCAL, Depends(_own_page)],
    response_class=Response,
    responses={**responses(409, 507), **_TAR},
)
def download_backup(service: ServiceDep) -> Response:
    """All of the log as one tar, as `stripread log backup` writes it; `stripread log restore` takes it back."""
    if not service.one_backup.acquire(blocking=False):
        raise BenchBusy("backing_up", _("A back-up is being made already. Wait until it has ended."), 30)
    try:
        scratch = service.blobs.incoming / secrets.token_hex(16)  # swept at the next start, whatever happens
        made = prepare(service.settings.database_url, service.settings.data, scratch)
    except BaseException:
        service.one_backup.release()
        raise

    def ended() -> None:
        made.close()
        service.one_backup.release()

    return _Sent(made, ended)


class _Sent(StreamingResponse):
    """Its length is told before, so that one that breaks off is never taken for a whole one."""

    def __init__(self, made: Backup, ended: Callable[[], None]) -> None:
        name = f"stripread-{made.manifest.made_at[:10]}-{made.manifest.chain.head[:8]}.tar"
        headers = {
            "Content-Disposition": f'attachment; filename="{name}"',
            "Content-Length": str(made.size),
            "Content-Encoding": "identity",  # photos don't get smaller, and the length would be lost
        }
        super().__init__(made.pieces(), media_type="application/x-tar", headers=headers)
        self._ended = ended

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        """Send it; however that ends, the next one may come."""
        try:
            await super().__call__(scope, receive, send)
        finally:
            self._ended()
