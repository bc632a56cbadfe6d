"""How a photo becomes one entry of the log, whatever the Wi-Fi does: for the page's posts and for a watched folder.

The order is what keeps the promise: the photo is on the disk before it is read, and its entry is committed before
anybody is told. A crash in between leaves at most a photo without an entry, which `stripread log check` names.
"""

from __future__ import annotations

import asyncio
import hashlib
import json
import logging
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import BinaryIO

from sqlalchemy import Connection
from sqlalchemy.exc import IntegrityError

from service.errors import Conflict, NotFound, PhotoProblem, ServiceError, WrongStatement
from service.log import store
from service.log.blobs import Blobs
from service.log.chain.locks import one_of_batch
from service.log.database import Database
from service.log.entries import shown
from service.log.profiles import KeptProfile, Profiles
from service.log.taken import Teller, told_time
from service.log.timeline.asked import asked_about
from service.readers.earlier.blank import blank_kept, blank_of
from service.readers.earlier.cells import NamedCells, cells_of
from service.readers.pool import WorkPool, stopping
from service.readers.same_photo import Details, RecentEntries, differences
from service.readers.statement import StripStatement
from service.readers.swatches import swatches
from service.readers.taking import Taking
from service.readers.threads import in_thread
from service.readers.worker import Job, Kind, Outcome, read_job
from stripread.errors import CallError
from stripread.words import _

log = logging.getLogger("stripread.intake")
_Who = tuple[int, str, str, str | None]  # batch, kind, photo, profile: the same reading


@dataclass(frozen=True)
class Submission:
    """A photo as it was sent, with what was said about it."""

    batch_id: int
    kind: Kind
    name: str
    wash: int | None = None
    note: str = ""
    path_mm: float | None = None
    taking: Taking = field(default_factory=dict)
    snapped_at: str | None = None
    snapped_by: Teller = "phone"  # whose time that is; a file's own, and that of its choice, go after the camera's
    own_time: bool = False  # nobody says when it was taken: only the photo itself can tell how old its vials' photo is
    profile: str | None = None  # name of the strip's profile; the service's first if not said
    said: StripStatement = field(default_factory=StripStatement)
    blank_entry: int | None = None
    cells_entry: int | None = None  # of a tint: the entry whose photo measures its vials ...
    vials_changed: bool = False  # ... which were changed since
    origin: str = "photo"
    who: str | None = None
    confirm: bool = False  # said beforehand: it counts as it is, whatever would be asked about it
    key: str | None = None  # Idempotency-Key

    def fingerprint(self, sha256: str) -> str:
        """Tells this request from another that uses the same key."""
        parts = [self.batch_id, self.kind, self.wash, self.note, self.path_mm, dict(self.taking), sha256]
        more = [self.profile, self.said.to_dict(), self.blank_entry]
        cells = [self.cells_entry, self.vials_changed]
        parts += more if any(more) or any(cells) else []
        parts += cells if any(cells) else []
        return hashlib.sha256(json.dumps(parts).encode()).hexdigest()


@dataclass(frozen=True)
class Taken:
    """The entry that answers a submission, as JSON, and whether it was there before."""

    entry_id: int
    repeated: bool
    entry: store.Row


@dataclass(frozen=True)
class _Arrived:
    """A photo on the disk: its hash and size, the profile for it, and what it got when it came before."""

    sha256: str
    size: int
    profile: KeptProfile | None
    blank: store.Row | None  # the entry of the rinse water, to compare with
    cells: NamedCells | None  # the photo that measures a tint's vials
    earlier: Taken | None


class Intake:
    """Takes photos in.

    Parameters
    ----------
    window
        Seconds within which the same photo in the same batch is the same reading, by a clock that is never set.
    logged
        Told each new entry's reading.
    """

    def __init__(  # noqa: PLR0917 - the parts of a bench
        self,
        database: Database,
        blobs: Blobs,
        pool: WorkPool,
        profiles: Profiles,
        window: float,
        logged: Callable[[store.Row], None] = lambda _reading: None,
    ) -> None:
        self._logged = logged
        self._database = database
        self._blobs = blobs
        self._pool = pool
        self._profiles = profiles
        with database.read() as c:
            self._recent = RecentEntries(window, store.newest_entry(c))
        self._under_way: dict[_Who, asyncio.Task[Taken]] = {}

    async def take(self, sent: Submission, source: BinaryIO) -> Taken:
        """Store, read and log one photo; what was sent before gets its first answer.

        Raises
        ------
        ServiceError
            ``NotFound`` or ``Conflict`` for the batch, ``Conflict`` without a profile or for the same photo with other
            details, ``WrongStatement`` for a key used for something else, ``BenchBusy`` when busy.
        OSError, SQLAlchemyError
            When disk or database do not take it: then nothing is in the log.
        """
        if self._pool.stopping:  # before the photo is kept: without an entry it would only lie there
            raise stopping()
        # One hop to a thread for all that comes before the reading, and one after it: hops cost more than the queries.
        came = await in_thread(self._arrive, sent, source)
        if came.earlier is not None:
            return came.earlier
        who = (sent.batch_id, sent.kind, came.sha256, came.profile.sha256 if came.profile else None)
        running = self._under_way.get(who)
        if running is not None:
            await asyncio.wait([running])
            return await self._take_again(sent, came, running)
        task = asyncio.create_task(self._read_and_log(sent, came))
        self._under_way[who] = task
        task.add_done_callback(lambda done: self._finished(who, done))
        # A client that hangs up does not stop its reading: it will ask again and must find it.
        return await asyncio.shield(task)

    async def _take_again(self, sent: Submission, came: _Arrived, running: asyncio.Task[Taken]) -> Taken:
        """Answer a photo that came while the same one was being read."""
        first = running.result()  # raises what the first one met: both clients hear of it
        earlier = await in_thread(self._earlier, sent, came.sha256, came.profile)
        return earlier or Taken(first.entry_id, True, first.entry)

    async def drain(self) -> None:
        """Wait for what is under way, when the service stops."""
        if self._under_way:
            await asyncio.wait(list(self._under_way.values()))

    def _finished(self, who: _Who, task: asyncio.Task[Taken]) -> None:
        self._under_way.pop(who, None)
        if not task.cancelled():
            task.exception()  # heard by whoever waits; a client that hung up leaves nobody

    def _arrive(self, sent: Submission, source: BinaryIO) -> _Arrived:
        with self._database.read() as c:
            self._check_batch(c, sent)
            blank = None if sent.blank_entry is None else blank_of(c, sent.batch_id, sent.blank_entry)
            cells = _cells(c, sent)
        profile = self._profiles.current(sent.kind, sent.profile)
        sha256, size = self._blobs.keep(source)
        return _Arrived(sha256, size, profile, blank, cells, self._earlier(sent, sha256, profile))

    def _check_batch(self, c: Connection, sent: Submission) -> None:
        batch = store.batch(c, sent.batch_id)
        if batch is None:
            raise NotFound("no_such_batch", _("There is no batch {batch_id}.", batch_id=sent.batch_id))
        if batch["closed_at"] is not None:
            known = store.key_of(c, sent.key) if sent.key else None
            if known is None:  # a repeated post of what came in before it was closed still gets its answer
                raise Conflict("batch_closed", _("This batch is closed. Open it again or choose another one."))

    def _earlier(self, sent: Submission, sha256: str, profile: KeptProfile | None) -> Taken | None:
        with self._database.read() as c:
            found = self._find(c, sent, sha256, profile)
            if found is None or not sent.key or store.key_of(c, sent.key) is not None:
                return found
        # A second key for the same entry: remember it, it may come again much later.
        with self._database.write(alone=True) as c:
            if store.key_of(c, sent.key) is None:
                store.add_key(c, (sent.key, sent.fingerprint(sha256)), found.entry_id)
        return found

    def _find(self, c: Connection, sent: Submission, sha256: str, profile: KeptProfile | None) -> Taken | None:
        if sent.key:
            known = store.key_of(c, sent.key)
            if known is not None:
                if known["fingerprint"] != sent.fingerprint(sha256):
                    raise WrongStatement(
                        "key_reused",
                        _("This Idempotency-Key was used for another photo or other details. Use a new one."),
                    )
                return _taken(c, known["entry_id"], repeated=True)
        made_with = None if profile is None else profile.sha256
        above = self._recent.above(store.newest_entry(c))
        same = store.same_photo(c, sent.batch_id, sent.kind, sha256, profile=made_with, above=above)
        if same is None:
            return None
        differs = differences(store.entry(c, same) or {}, _details(sent))
        # A watched file states nothing. For everybody else the number of other details would be a wrong one.
        if differs and sent.origin != "watch":
            raise Conflict(
                "other_details",
                _(
                    "This photo is entry {same} already, with other details ({differs}). Nothing was added. "
                    "Correct entry {same} if the new details are right; else keep it.",
                    same=same,
                    differs="; ".join(differs),
                ),
            )
        return _taken(c, same, repeated=True)

    async def _read_and_log(self, sent: Submission, came: _Arrived) -> Taken:
        beside = came.blank is not None or came.cells is not None  # their photos may have to be fetched
        job = await in_thread(self._job, sent, came) if beside else self._job(sent, came)
        outcome = await self._read(job)
        return await in_thread(self._log, sent, came, outcome)

    def _job(self, sent: Submission, came: _Arrived) -> Job:
        profile = came.profile.path if came.profile else None
        blank = None if came.blank is None else (self._blobs.here(came.blank["photo_sha256"]), _photo_name(came.blank))
        cells = None if came.cells is None else came.cells.job(self._blobs)
        photo = self._blobs.path(came.sha256)
        return Job(sent.kind, photo, sent.name, profile, sent.path_mm, sent.taking, sent.said, blank, cells)

    async def _read(self, job: Job) -> Outcome:
        try:
            return await self._pool.run(read_job, job)
        except ServiceError:
            raise
        except CallError as wrong:
            raise Conflict("no_profile", _("The profile can't be used: {wrong}.", wrong=wrong)) from None
        except Exception as trouble:
            if isinstance(trouble, OSError) and trouble.errno is not None:
                raise  # a file that can't be read is the bench computer's fault; decoders' own errors have no number
            # A fault of ours. 422 and not 500: the same photo would only meet it again, and hold up others.
            log.exception("reading %s failed", job.photo.name)
            raise PhotoProblem(
                "reader_failed",
                _("Reading this photo failed; the bench computer's terminal says why."),
            ) from None

    def _log(self, sent: Submission, came: _Arrived, outcome: Outcome) -> Taken:
        sha256, profile = came.sha256, came.profile
        with self._database.read() as c:
            zone = store.known_batch(c, sent.batch_id)["zone"]
        at, told_by = told_time(outcome.reading.get("taken_at"), sent.snapped_at, sent.snapped_by, zone)
        new = store.NewEntry(
            batch_id=sent.batch_id,
            kind=sent.kind,
            origin=sent.origin,
            photo_sha256=sha256,
            photo_size=came.size,
            reading=outcome.reading,
            wash=sent.wash,
            note=sent.note,
            snapped_at=at,
            profile=(profile.sha256, profile.text) if profile else None,
            made_by=sent.who,
            extras=_extras(sent, came) | {"colours": swatches(outcome)},
            camera=outcome.camera,
        )
        new.extras.update({} if told_by is None else {"snapped_from": told_by})
        key = (sent.key, sent.fingerprint(sha256)) if sent.key else None
        new.extras.update(self._to_ask(sent, new))
        try:
            with self._database.write() as c:
                one_of_batch(c, sent.batch_id)
                # Only here, with the batch held, is it certain that nobody else logged the same photo meanwhile.
                earlier = self._find(c, sent, sha256, profile)
                if earlier is not None:
                    return earlier
                number = store.add_entry(c, new, key)
                self._recent.above(number)  # its minute begins now, not when somebody next looks
                taken = _taken(c, number, repeated=False)
            self._logged(outcome.reading)
            return taken
        except IntegrityError:
            with self._database.read() as c:  # another process used the key between our look and our commit
                earlier = self._find(c, sent, sha256, profile)
            if earlier is None:
                raise
            return earlier

    def _to_ask(self, sent: Submission, new: store.NewEntry) -> store.Row:
        """What is asked about an entry before it counts, for its extras. The photo is logged either way."""
        with self._database.read() as c:  # before the log is held: the forecast may take a while
            asked = asked_about(c, new)
        if not asked:
            return {}
        return {"confirmed": [question["code"] for question in asked]} if sent.confirm else {"asked": asked}


def _cells(c: Connection, sent: Submission) -> NamedCells | None:
    if sent.cells_entry is None or (sent.key and store.key_of(c, sent.key) is not None):
        return None  # what came in before gets its first answer, whatever became of the entry since
    number, changed = sent.cells_entry, sent.vials_changed
    said = None if sent.own_time and sent.snapped_by == "file" else sent.snapped_at
    return cells_of(c, sent.batch_id, number, snapped_at=said, own_time=sent.own_time, changed=changed)


def _extras(sent: Submission, came: _Arrived) -> store.Row:
    """What the log keeps beside the reading; with it the photo can be read again in the same way."""
    extras: store.Row = {"path_mm": sent.path_mm, "taking": dict(sent.taking)}
    if sent.said.to_dict():
        extras["said"] = sent.said.to_dict()
    return extras | blank_kept(came.blank) | ({} if came.cells is None else came.cells.kept())


def _details(sent: Submission) -> Details:
    said = sent.said.to_dict()
    changed = sent.vials_changed and sent.cells_entry is not None
    return Details(
        sent.wash, sent.note, sent.path_mm, dict(sent.taking), said, sent.blank_entry, sent.cells_entry, changed
    )


def _photo_name(row: store.Row) -> str:
    return str(row["reading"]["photo"])


def _taken(c: Connection, number: int, *, repeated: bool) -> Taken:
    row = store.entry(c, number)
    assert row is not None
    return Taken(number, repeated, shown(row, store.corrector(c, number) if repeated else None))
