"""The photo that measures a tint's vials, by the number of its entry: what the log keeps, and how old it is."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest

from service.errors import Conflict
from service.log import store
from service.log.correction import Correction, corrected_entry
from service.readers.jobs import job_again
from tests.log.test_intake import bench  # noqa: F401 - a fixture


def _at(hours_ago):
    return (datetime.now(UTC) - timedelta(hours=hours_ago)).isoformat()


def _vials(bench, matching="blank", orders="none", **more):  # noqa: F811
    return bench.take(f"{orders} {matching}", kind="cells", taking={"matching": matching}, **more).entry_id


def _tint(bench, vials, orders="none", **more):  # noqa: F811
    return bench.take(orders, kind="tint", cells_entry=vials, **more)


def _correct(bench, entry, **change):  # noqa: F811
    with bench.database.write() as c:
        old = store.known_entry(c, entry)
        said = Correction(by="M.", why="wrong", **change)
        return store.add_entry(c, corrected_entry(old, said, store.photo_size(c, old["photo_sha256"]), None))


@pytest.mark.parametrize("matching", ["blank", "swapped"])
def test_what_is_kept_and_what_the_reader_gets_now_and_later(bench, matching):  # noqa: F811
    vials = _vials(bench, matching, snapped_at=_at(5))
    _tint(bench, vials, snapped_at=_at(2), vials_changed=True)
    first, row = bench.entries()
    kept = dict(row["extras"]["cells"])
    assert kept.pop("age_h") == pytest.approx(3.0, abs=0.01)
    sha256 = first["photo_sha256"]
    assert kept == {"entry": vials, "sha256": sha256, "photo": "a.jpg", "matching": matching, "changed": True}
    assert (first["kind"], first["value"], first["extras"]["taking"]) == ("cells", None, {"matching": matching})
    job = bench.pool.jobs[1].cells
    assert (job.path, job.matching, job.changed) == (bench.blobs.path(sha256), matching, True)
    assert job.age_h == pytest.approx(3.0, abs=0.01)
    assert job_again(row, bench.blobs, None).cells == job


def test_a_corrected_photo_has_the_age_of_its_first(bench):  # noqa: F811
    vials = _vials(bench, snapped_at=_at(5))
    newer = _correct(bench, vials, wash=4)
    _tint(bench, newer)
    assert bench.pool.jobs[-1].cells.age_h == pytest.approx(5.0, abs=0.01)


def test_without_a_said_time_the_photos_own_clocks_count(bench):  # noqa: F811
    vials = _vials(bench)
    _tint(bench, vials, "none=1", own_time=True)
    assert bench.pool.jobs[-1].cells.age_h is None
    _tint(bench, vials, "none=2")  # it came now
    assert bench.pool.jobs[-1].cells.age_h == pytest.approx(0.0, abs=0.01)


def test_what_may_not_be_named(bench):  # noqa: F811
    vials, tint = _vials(bench), bench.take("copper", kind="tint").entry_id
    with bench.database.write() as c:
        other = store.add_batch(c, "second")
    before = len(list(bench.blobs.all()))
    for wrong, batch in ((tint, bench.batch), (77, bench.batch), (vials, other)):
        with pytest.raises(Conflict, match=f"Entry {wrong} is no photo of a pair of vials in this batch"):
            _tint(bench, wrong, batch_id=batch)
    refused = _vials(bench, orders="refuse;")
    with pytest.raises(Conflict, match=f"Entry {refused} could not be read"):
        _tint(bench, refused)
    assert len(list(bench.blobs.all())) == before + 1  # nothing is kept of what is turned away


def test_a_correction_is_followed_and_a_withdrawal_too(bench):  # noqa: F811
    vials = _vials(bench)
    newer = _correct(bench, vials, wash=4)
    tint = _tint(bench, vials, key="k")
    assert bench.entries()[-1]["extras"]["cells"]["entry"] == vials
    _correct(bench, newer, withdraw=True)
    for number in (vials, newer):
        with pytest.raises(Conflict, match=f"Entry {number} was withdrawn"):
            _tint(bench, number, "none=2")
    again = _tint(bench, vials, key="k")  # what came in before gets its first answer
    assert (again.entry_id, again.repeated) == (tint.entry_id, True)


def test_it_is_part_of_what_was_said(bench):  # noqa: F811
    vials, other = _vials(bench), _vials(bench, "swapped")
    first = _tint(bench, vials)
    assert _tint(bench, vials).entry_id == first.entry_id
    with pytest.raises(Conflict, match="vials measured by entry: 1 then, 2 now"):
        _tint(bench, other)
    with pytest.raises(Conflict, match="vials changed since: none then, yes now"):
        _tint(bench, vials, vials_changed=True)
    changed = _tint(bench, vials, "none=2", vials_changed=True)
    assert _tint(bench, vials, "none=2", vials_changed=True).entry_id == changed.entry_id
    plain = bench.sent(kind="tint")
    said = [plain, *(replace(plain, cells_entry=n, vials_changed=c) for n in (1, 2) for c in (False, True))]
    assert len({sent.fingerprint("a") for sent in said}) == len(said)
