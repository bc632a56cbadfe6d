"""How a photo becomes one entry, with the reader in this very process: no server, no worker."""

from __future__ import annotations

import asyncio
import hashlib
import io
import json
from contextlib import contextmanager
from dataclasses import replace

import pytest
from sqlalchemy.exc import IntegrityError

from service.errors import BenchBusy, Conflict, NotFound, PhotoProblem, WrongStatement
from service.log import store
from service.log.blobs import Blobs
from service.log.database import Database
from service.log.profiles import KeptProfile
from service.readers import intake
from service.readers.intake import Intake, Submission
from service.readers.statement import StripStatement
from stripread.errors import CallError
from tests.server.fake_reader import FakeReader


class Pool:
    """A pool that reads at once; ``trouble`` is raised instead, ``gate`` is waited for before."""

    def __init__(self):
        self.stopping, self.trouble, self.gate, self.jobs = False, None, None, []

    async def run(self, function, job):
        self.jobs.append(job)
        if self.gate is not None:
            await self.gate.wait()
        if self.trouble is not None:
            raise self.trouble
        return FakeReader().read(job)


class Strips:
    """Profiles by name; a tint and a solid need none."""

    def __init__(self, folder):
        self.kept = {name: self._kept(folder, name) for name in ("wide", "narrow")}

    @staticmethod
    def _kept(folder, name):
        path = folder / f"{name}.toml"
        path.write_text(f'name = "{name}"\n')
        return KeptProfile(name[0].replace("w", "a").replace("n", "b") * 64, path.read_text(), path)

    def current(self, kind, name=None):
        return self.kept[name or "wide"] if kind == "ph" else None


class Bench:
    """One batch, and everything that takes photos in."""

    def __init__(self, folder, window=60.0):
        self.database = Database(f"sqlite:///{folder / 'log.sqlite3'}")
        self.database.migrate()
        with self.database.write() as c:
            self.batch = store.add_batch(c, "first")
        self.pool, self.blobs = Pool(), Blobs(folder / "photos")
        self.intake = Intake(self.database, self.blobs, self.pool, Strips(folder), window)

    def sent(self, **other):
        return Submission(**({"batch_id": self.batch, "kind": "ph", "name": "a.jpg"} | other))

    def take(self, orders="ph=6.50", **other):
        return asyncio.run(self.intake.take(self.sent(**other), _photo(orders)))

    def entries(self):
        with self.database.read() as c:
            return store.entries_of(c, self.batch)

    def close_batch(self):
        with self.database.write() as c:
            store.change_batch(c, self.batch, name=None, closed=True, details=None)


def _photo(orders):
    return io.BytesIO(f"a photo FAKE:{orders};".encode())


@pytest.fixture
def bench(tmp_path):
    made = Bench(tmp_path)
    yield made
    made.database.close()


def test_a_photo_becomes_an_entry_with_all_that_was_said(bench):
    taken = bench.take(wash=3, note="third", snapped_at="2026-05-12T11:00:00+02:00", origin="watch")
    assert not taken.repeated
    (row,) = bench.entries()
    assert (row["id"], row["wash"], row["note"], row["origin"]) == (taken.entry_id, 3, "third", "watch")
    assert (row["value"], row["status"], row["kind"]) == (6.5, "ok", "ph")
    assert row["snapped_at"] == "2026-05-12T11:00:00+02:00"
    assert row["profile_sha256"] == "a" * 64
    assert row["extras"]["path_mm"] is None
    assert "said" not in row["extras"]
    assert "blank" not in row["extras"]
    assert len(row["extras"]["colours"]) == 4
    assert taken.entry["log"]["id"] == taken.entry_id
    assert bench.blobs.path(row["photo_sha256"]).read_bytes() == _photo("ph=6.50").read()
    with bench.database.read() as c:
        assert store.photo_size(c, row["photo_sha256"]) == len(_photo("ph=6.50").read())
    (job,) = bench.pool.jobs
    assert (job.kind, job.name, job.photo) == ("ph", "a.jpg", bench.blobs.path(row["photo_sha256"]))
    assert job.profile.name == "wide.toml"
    assert job.blank is None


def test_details_reach_the_reader_and_the_log(bench):
    said = StripStatement(dipped_at="30", temperature_c=40.0)
    bench.take(profile="narrow", said=said)
    bench.take("copper", kind="tint", path_mm=20.0, taking={"wash": "acid", "dilution": 1.5})
    strip, tint = bench.entries()
    assert strip["extras"]["said"] == said.to_dict()
    assert strip["profile_sha256"] == "b" * 64
    assert bench.pool.jobs[0].said == said
    assert tint["profile_sha256"] is None
    assert (tint["extras"]["path_mm"], tint["extras"]["taking"]) == (20.0, {"wash": "acid", "dilution": 1.5})
    assert (bench.pool.jobs[1].path_mm, bench.pool.jobs[1].profile) == (20.0, None)


@pytest.mark.parametrize(
    ("said", "own", "has"),
    [(None, False, "2026-05-12T"), (None, True, "2026-05-12T"), ("2026-01-02T03:04:05+00:00", True, "2026-01-02T")],
)
def test_the_photo_s_own_time_counts_where_nobody_said_one(bench, said, own, has):
    bench.take(snapped_at=said, own_time=own)
    row = bench.entries()[0]
    assert row["snapped_at"].startswith(has)
    assert row["extras"]["snapped_from"] == ("exif" if said is None else "phone")


def test_the_same_photo_gets_its_first_answer(bench):
    one, again = bench.take(), bench.take()
    assert (one.entry_id, one.repeated, again.repeated) == (again.entry_id, False, True)
    assert again.entry["log"]["id"] == one.entry_id
    assert len(bench.pool.jobs) == len(bench.entries()) == 1
    assert bench.take("ph=7.00").entry_id != one.entry_id


def test_after_the_window_it_is_another_reading(tmp_path):
    bench = Bench(tmp_path, window=0.0)
    assert bench.take().entry_id != bench.take().entry_id
    bench.database.close()


def test_with_another_kind_profile_or_batch_it_is_another_reading(bench):
    bench.take()
    bench.take(profile="narrow")
    bench.take("ph=6.50", kind="tint")
    assert len(bench.entries()) == 3
    with bench.database.write() as c:
        other = store.add_batch(c, "second")
    assert not bench.take(batch_id=other).repeated


def test_other_details_are_asked_about(bench):
    one = bench.take(wash=1)
    with pytest.raises(
        Conflict, match=rf"entry {one.entry_id} already, with other details \(wash: 1 then, 2 now\)"
    ) as caught:
        bench.take(wash=2)
    assert caught.value.code == "other_details"
    assert bench.take(wash=2, origin="watch").entry_id == one.entry_id  # a watched file states nothing
    assert bench.take(wash=1).entry_id == one.entry_id
    assert len(bench.entries()) == 1


def test_a_key_is_answered_once_and_for_all(tmp_path):
    bench = Bench(tmp_path, window=0.0)
    one = bench.take(key="k")
    again = bench.take(key="k")
    assert (again.entry_id, again.repeated) == (one.entry_id, True)
    assert len(bench.pool.jobs) == 1
    others = [{"orders": "ph=7.00"}, {"wash": 2}, {"note": "x"}, {"profile": "narrow"}, {"blank_entry": one.entry_id}]
    others += [{"said": StripStatement(temperature_c=30.0)}, {"taking": {"wash": "acid"}}, {"path_mm": 10.0}]
    for other in others:
        with pytest.raises(WrongStatement) as caught:
            bench.take(**other, key="k")
        assert caught.value.code == "key_reused"
    assert len(bench.entries()) == 1
    assert bench.take(key="l").entry_id != one.entry_id
    bench.database.close()


def test_a_second_key_for_the_same_photo_is_remembered(bench):
    one = bench.take(key="k")
    two = bench.take(key="l")
    assert (two.entry_id, two.repeated) == (one.entry_id, True)
    with bench.database.read() as c:
        assert store.key_of(c, "l")["entry_id"] == one.entry_id
        assert store.key_of(c, "m") is None
        keys = store.key_of(c, "k"), store.key_of(c, "l")
    assert keys[0]["fingerprint"] == keys[1]["fingerprint"]
    bench.take(key="l")
    bench.take()


def test_a_fingerprint_is_that_of_all_that_was_said(bench):
    plain = bench.sent()
    assert plain.fingerprint("a") == replace(plain, name="b.jpg", key="x", origin="watch").fingerprint("a")
    others = [replace(plain, **more) for more in ({"wash": 1}, {"note": "x"}, {"path_mm": 1.0}, {"profile": "narrow"},
              {"blank_entry": 1}, {"said": StripStatement(rinse=True)}, {"kind": "tint"}, {"batch_id": 2})]  # fmt: skip
    assert len({s.fingerprint("a") for s in (plain, *others)} | {plain.fingerprint("b")}) == len(others) + 2
    # Without a profile, a statement or a blank it stays what earlier versions wrote down.
    parts = [bench.batch, "ph", None, "", None, {}, "a"]
    assert plain.fingerprint("a") == hashlib.sha256(json.dumps(parts).encode()).hexdigest()


def test_a_batch_that_is_closed_or_none(bench):
    one = bench.take(key="k")
    bench.close_batch()
    with pytest.raises(Conflict, match="This batch is closed"):
        bench.take("ph=7.00")
    with pytest.raises(Conflict, match="This batch is closed"):
        bench.take("ph=7.00", key="new")
    assert bench.take(key="k").entry_id == one.entry_id  # it came in before
    with pytest.raises(NotFound, match="There is no batch 77"):
        bench.take(batch_id=77)
    assert len(list(bench.blobs.all())) == 1  # nothing is kept of what is turned away


def test_a_blank_must_be_a_ph_reading_of_this_batch(bench):
    blank = bench.take("ph=7.00", note="tap")
    taken = bench.take("ph=5.00", blank_entry=blank.entry_id)
    row = bench.entries()[1]
    sha256 = bench.entries()[0]["photo_sha256"]
    assert row["extras"]["blank"] == {"entry": blank.entry_id, "sha256": sha256, "photo": "a.jpg"}
    assert bench.pool.jobs[1].blank == (bench.blobs.path(sha256), "a.jpg")
    tint = bench.take("copper", kind="tint")
    with bench.database.write() as c:
        other = store.add_batch(c, "second")
    for wrong, batch in ((tint.entry_id, bench.batch), (77, bench.batch), (taken.entry_id, other)):
        with pytest.raises(Conflict, match="The blank must be a pH reading of this batch"):
            bench.take("ph=4.00", blank_entry=wrong, batch_id=batch)


def test_nothing_is_kept_while_the_service_stops(bench):
    bench.pool.stopping = True
    with pytest.raises(BenchBusy, match="stopping"):
        bench.take()
    assert not list(bench.blobs.all())


@pytest.mark.parametrize(
    ("trouble", "raised", "words"),
    [
        (CallError("it is torn"), Conflict, "The profile can't be used: it is torn"),
        (BenchBusy("busy", "Busy.", 1), BenchBusy, "Busy"),
        (OSError(5, "of the disk"), OSError, "of the disk"),
        (OSError("a decoder's own"), PhotoProblem, "Reading this photo failed"),
        (RuntimeError("a fault of ours"), PhotoProblem, "Reading this photo failed"),
    ],
)
def test_a_reading_that_fails_leaves_no_entry(bench, caplog, trouble, raised, words):
    bench.pool.trouble = trouble
    with pytest.raises(raised, match=words):
        bench.take()
    assert bench.entries() == []
    assert ("reading" in caplog.text) == (raised is PhotoProblem)
    assert len(list(bench.blobs.all())) == 1  # kept before it is read: `log check` names it
    bench.pool.trouble = None
    assert not bench.take().repeated


def test_the_same_photo_while_it_is_read_waits_for_the_first(bench):
    async def both(**second):
        bench.pool.gate = asyncio.Event()
        first = asyncio.create_task(bench.intake.take(bench.sent(), _photo("ph=6.50")))
        while not bench.pool.jobs:
            await asyncio.sleep(0.001)
        other = asyncio.create_task(bench.intake.take(bench.sent(**second), _photo("ph=6.50")))
        drained = asyncio.create_task(bench.intake.drain())
        await asyncio.sleep(0.05)
        assert not first.done()
        assert not other.done()
        assert not drained.done()
        bench.pool.gate.set()
        found = await asyncio.gather(first, other, return_exceptions=True)
        await drained
        assert not bench.intake._under_way
        return found

    one, two = asyncio.run(both(key="k"))
    assert (one.entry_id, one.repeated, two.repeated) == (two.entry_id, False, True)
    assert len(bench.pool.jobs) == 1
    with bench.database.read() as c:
        assert store.key_of(c, "k")["entry_id"] == one.entry_id


def test_both_hear_of_what_the_first_met(bench):
    async def both():
        bench.pool.gate, bench.pool.trouble = asyncio.Event(), CallError("it is torn")
        calls = [asyncio.create_task(bench.intake.take(bench.sent(), _photo("ph=6.50"))) for _ in range(2)]
        while not bench.pool.jobs:
            await asyncio.sleep(0.001)
        await asyncio.sleep(0.05)
        bench.pool.gate.set()
        return await asyncio.gather(*calls, return_exceptions=True)

    one, two = asyncio.run(both())
    assert isinstance(one, Conflict)
    assert isinstance(two, Conflict)
    assert len(bench.pool.jobs) == 1


def test_a_client_that_hangs_up_does_not_stop_its_reading(bench):
    async def hung_up():
        bench.pool.gate = asyncio.Event()
        call = asyncio.create_task(bench.intake.take(bench.sent(), _photo("ph=6.50")))
        while not bench.pool.jobs:
            await asyncio.sleep(0.001)
        call.cancel()
        await asyncio.sleep(0.01)
        bench.pool.gate.set()
        await bench.intake.drain()

    asyncio.run(hung_up())
    assert len(bench.entries()) == 1
    asyncio.run(bench.intake.drain())  # nothing is under way: it returns


def test_whoever_waited_past_the_window_still_gets_the_first_answer(tmp_path):
    bench = Bench(tmp_path, window=0.0)

    async def both():
        bench.pool.gate = asyncio.Event()
        calls = [asyncio.create_task(bench.intake.take(bench.sent(), _photo("ph=6.50"))) for _ in range(2)]
        while not bench.pool.jobs:
            await asyncio.sleep(0.001)
        await asyncio.sleep(0.05)
        bench.pool.gate.set()
        return await asyncio.gather(*calls)

    one, two = asyncio.run(both())
    assert one.entry_id == two.entry_id
    assert sorted([one.repeated, two.repeated]) == [False, True]
    assert len(bench.entries()) == 1
    bench.database.close()


def test_a_reading_that_is_called_off_leaves_nothing_under_way(bench):
    async def called_off():
        troubles = []
        asyncio.get_running_loop().set_exception_handler(lambda _, trouble: troubles.append(trouble))
        bench.pool.gate = asyncio.Event()
        call = asyncio.create_task(bench.intake.take(bench.sent(), _photo("ph=6.50")))
        while not bench.pool.jobs:
            await asyncio.sleep(0.001)
        (task,) = bench.intake._under_way.values()
        task.cancel()
        await asyncio.gather(call, return_exceptions=True)
        await asyncio.sleep(0.01)
        return troubles

    assert asyncio.run(called_off()) == []
    assert not bench.intake._under_way


def test_a_file_that_is_damaged_before_it_is_read_makes_no_entry(bench, monkeypatch):
    run = bench.pool.run

    async def damaged_first(function, job):
        job.photo.write_bytes(b"FAKE:ph=9.00;")
        return await run(function, job)

    monkeypatch.setattr(bench.pool, "run", damaged_first)
    with pytest.raises(BenchBusy, match="is not what was sent"):
        bench.take()
    assert bench.entries() == []
    monkeypatch.undo()
    assert bench.take().entry["ph"] == 6.5  # sent again it is whole again


def test_a_repeated_answer_says_what_corrects_it_by_now(bench):
    one = bench.take()
    assert one.entry["log"]["corrected_by"] is None
    (row,) = bench.entries()
    with bench.database.write() as c:
        new = store.NewEntry(
            bench.batch, "ph", "correction", row["photo_sha256"], 1, row["reading"], corrects_id=row["id"]
        )
        by = store.add_entry(c, new)
    assert bench.take().entry["log"]["corrected_by"] == by


def test_a_key_that_somebody_wrote_down_meanwhile_is_not_written_twice(bench, monkeypatch):
    one = bench.take(key="k")
    write = bench.database.write

    @contextmanager
    def later(*, alone=False):
        with write() as c:
            if store.key_of(c, "l") is None:
                store.add_key(
                    c, ("l", bench.sent(key="l").fingerprint(bench.entries()[0]["photo_sha256"])), one.entry_id
                )
        with write(alone=alone) as c:
            yield c

    monkeypatch.setattr(bench.database, "write", later)
    assert bench.take(key="l").entry_id == one.entry_id


def test_the_batch_is_held_before_an_entry_is_looked_for_and_added(bench, monkeypatch):
    order = []
    for room, name in ((intake, "one_of_batch"), (store, "same_photo"), (store, "add_entry")):
        whole = getattr(room, name)

        def noted(*args, whole=whole, name=name, **named):
            order.append(name)
            return whole(*args, **named)

        monkeypatch.setattr(room, name, noted)
    bench.take()
    assert order == ["same_photo", "one_of_batch", "same_photo", "add_entry"]


def test_a_photo_that_another_process_logged_meanwhile(bench, monkeypatch):
    def taken(*_):
        raise IntegrityError("insert", {}, Exception("the key is there"))

    monkeypatch.setattr(store, "add_entry", taken)
    with pytest.raises(IntegrityError):  # nobody else's entry is found: it is told as it is
        bench.take(key="k")
    answers = iter([None, None, "theirs"])  # before the reading, with the log held, after the other one's commit
    monkeypatch.setattr(bench.intake, "_find", lambda *_: next(answers))
    assert bench.take(key="k") == "theirs"
