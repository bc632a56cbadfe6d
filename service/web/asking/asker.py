"""Who asks: the keeper or a bench, by a program's token, a phone's cookie, or from the bench computer itself.

From the bench computer itself it is the keeper who asks, unless a token says otherwise; so is it for every phone that
joined by the keeper's own link. A wrong token is refused even there: it must not make a keeper of a bench's program.
"""

from __future__ import annotations

from collections import OrderedDict
from dataclasses import dataclass

from starlette.datastructures import Headers

from service.log.benches.secrets import bench_of_token, hashed
from service.log.database import Database
from service.readers.threads import in_thread
from service.settings import Settings
from service.web.pairing import Pairing
from service.web.problems import ServiceProblem
from service.web.rates import Buckets, is_loopback, network_of
from stripread.words import _

_BEARER = "bearer"  # RFC 6750, section 2.1; the scheme's name in either case (RFC 9110, section 11.1)
_REMEMBERED = 4096


@dataclass(frozen=True)
class Asker:
    """Who asks.

    ``local``: the bench computer itself. ``session``: a paired phone. ``bench``: whose phone or program it is, None for
    the keeper's.
    """

    local: bool
    session: int | None
    bench: int | None

    @property
    def known(self) -> bool:
        """Whether anything is answered but what is open to all."""
        return self.local or self.session is not None or self.bench is not None


class Askers:
    """Tells who asks. What belongs to a bench is asked of the database each time: revoked anywhere, it ends here."""

    def __init__(self, database: Database, pairing: Pairing, settings: Settings) -> None:
        self._database = database
        self._pairing = pairing
        self._lan = settings.lan
        self._guesses = Buckets(settings.guesses_per_minute)
        self._tokens: OrderedDict[str, None] = OrderedDict()  # hashes of those that were right once
        # Other services may use the same database, where it is no file of one folder.
        self._shared = database.engine.dialect.name != "sqlite"

    def at_open_door(self, cookie: str, address: str) -> Asker:
        """Who asks for what is open to all; the log is not asked."""
        known = self._pairing.session_of(cookie)
        return Asker(self._here(address), None if known is None else known.id, None)

    async def of(self, headers: Headers, cookie: str, address: str) -> Asker:
        """Who asks for anything else.

        Raises
        ------
        ServiceProblem
            401 for a token that is none, or was revoked; 429 for too many of them.
        """
        scheme, _unused, token = headers.get("authorization", "").strip().partition(" ")
        if scheme.lower() == _BEARER:  # without a token, too: a program that lost its own is no keeper
            return Asker(False, None, await self._by_token(token.strip(), address))
        known = self._pairing.session_of(cookie)
        if self._here(address):
            return Asker(True, None if known is None else known.id, None)
        if cookie and (self._shared or (known is not None and known.bench is not None)):
            if known is None:
                self._guesses.need(network_of(address))
            known = await in_thread(self._pairing.session_now, cookie)
        return Asker(False, None, None) if known is None else Asker(False, known.id, known.bench)

    def _here(self, address: str) -> bool:
        return not self._lan or is_loopback(address)

    async def _by_token(self, token: str, address: str) -> int:
        key = hashed(token)
        if key not in self._tokens:
            self._guesses.need(network_of(address))
        bench = await in_thread(self._bench_of, token)
        if bench is None:
            self._tokens.pop(key, None)
            raise ServiceProblem(
                401, "wrong_token", _("This token is not valid, or was revoked. Ask the keeper for a new one.")
            )
        self._tokens[key] = None
        while len(self._tokens) > _REMEMBERED:
            self._tokens.popitem(last=False)
        return bench

    def _bench_of(self, token: str) -> int | None:
        with self._database.read() as c:
            return bench_of_token(c, token)
