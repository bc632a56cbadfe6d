"""Thumbnails and drawings: made once, kept within a bound, asked for at a rate; and no photo waits for them."""

import asyncio
import statistics
import threading
import time
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from pathlib import Path

import httpx2 as httpx
import pytest
from fastapi.testclient import TestClient

from service.readers.worker import Job
from service.web.app import create_app
from service.web.kept_pictures import KeptPictures, overlay_name
from tests.server.conftest import a_photo, settings_in
from tests.server.running import Running


@pytest.mark.slow
def test_a_photo_posted_during_forty_drawings_is_read_as_on_a_quiet_bench(tmp_path):
    """Real sockets, real processes. Bound: 1.5 s more than on the quiet bench; all drawings take about 5 s."""
    with Running(tmp_path, workers=1) as server, httpx.Client(base_url=server.url, timeout=60) as bench:
        bench.post("/api/batches", json={"name": "b"})
        ids = [_post(bench, "ph=7.00;DRAW=0.4").json()["log"]["id"] for _ in range(40)]
        quiet = statistics.median(_seconds(bench) for _ in range(5))
        gate, came = threading.Barrier(41), []

        def draw(entry):
            with httpx.Client(base_url=server.url, timeout=60) as phone:
                gate.wait()
                answer = phone.get(f"/api/readings/{entry}/overlay")
                came.append((time.monotonic(), answer.status_code))

        with ThreadPoolExecutor(40) as phones:
            drawing = [phones.submit(draw, entry) for entry in ids]
            gate.wait()
            time.sleep(0.2)
            times = [_seconds(bench) for _ in range(5)]
            ended = time.monotonic()
            for one in drawing:
                one.result()
        assert sum(at > ended for at, _ in came) >= 3  # they were drawn meanwhile
        assert {status for _, status in came} == {200, 503}  # those that find no place are told when to ask again
        assert max(times) < quiet + 1.5


def test_forty_who_ask_for_one_drawing_get_one(own_client):
    own_client.post("/api/batches", json={"name": "b"})
    entry = _post(own_client, "ph=7.00;DRAW=0.5").json()["log"]["id"]
    own_client.app.state.service.drawings._places = 1  # a second one would be turned away
    with ThreadPoolExecutor(40) as phones:
        came = list(phones.map(lambda _: own_client.get(f"/api/readings/{entry}/overlay"), range(40)))
    assert {(a.status_code, a.content) for a in came} == {(200, came[0].content)}
    kept = list((own_client.app.state.service.settings.data / "derived").iterdir())
    assert len(kept) == 1


def test_readings_of_one_photo_with_other_details_have_each_their_own_drawing(own_client):
    own_client.post("/api/batches", json={"name": "b"})
    own_client.app.state.service.intake._recent._seconds = 0.0
    photo = a_photo()
    drawn = []
    for path_mm in ("10", "20"):
        entry = _post(own_client, photo=photo, kind="tint", path_mm=path_mm).json()["log"]["id"]
        drawn.append(own_client.get(f"/api/readings/{entry}/overlay").content)
    assert drawn[0].endswith(b"10.0")
    assert drawn[1].endswith(b"20.0")


def test_a_name_holds_photo_kind_profile_version_and_details(monkeypatch):
    job = Job("ph", Path("x"), "a.jpg")
    monkeypatch.setattr("service.web.kept_pictures._VERSION", "1.0")
    names = [
        overlay_name("a" * 64, "p", job),
        overlay_name("b" * 64, "p", job),
        overlay_name("a" * 64, "q", job),
        overlay_name("a" * 64, "p", replace(job, kind="solid")),
        overlay_name("a" * 64, "p", replace(job, path_mm=10.0)),
    ]
    monkeypatch.setattr("service.web.kept_pictures._VERSION", "1.1")
    names.append(overlay_name("a" * 64, "p", job))
    assert len(set(names)) == 6


def test_what_is_kept_stays_within_its_bytes_and_the_oldest_go_first(tmp_path):
    kept = KeptPictures(tmp_path / "derived", 10_000)

    async def picture():
        return b"x" * 1000

    async def fill():
        for n in range(40):
            await kept.get(f"{n:02}.png", picture, lambda: None)
            await kept.get("00.png", picture, lambda: None)  # asked for all the time: it stays
            assert sum(p.stat().st_size for p in (tmp_path / "derived").iterdir()) <= 10_000

    asyncio.run(fill())
    names = sorted(p.name for p in (tmp_path / "derived").iterdir())
    assert "39.png" in names
    assert "00.png" in names
    assert "01.png" not in names


def test_a_drawing_that_fails_is_no_ones_afterwards(tmp_path):
    kept = KeptPictures(tmp_path / "derived", 10_000)

    async def fails():
        raise ValueError("not this time")

    async def works():
        return b"picture"

    async def both():
        with pytest.raises(ValueError, match="not this time"):
            await kept.get("a.png", fails, lambda: None)
        assert await kept.get("a.png", works, lambda: None) == b"picture"

    asyncio.run(both())


@pytest.mark.parametrize(
    ("what", "bound"), [("overlay", "drawings_per_minute"), ("thumbnail", "pictures_per_minute"), ("photo", None)]
)
def test_making_pictures_has_a_rate_and_what_is_kept_is_free(tmp_path, what, bound):
    settings = settings_in(tmp_path, **{bound or "pictures_per_minute": 2})
    with TestClient(create_app(settings)) as client:
        client.post("/api/batches", json={"name": "b"})
        ids = [_post(client).json()["log"]["id"] for _ in range(3)]
        answers = [client.get(f"/api/readings/{n}/{what}").status_code for n in ids]
        assert answers == [200, 200, 429]
        refused = client.get(f"/api/readings/{ids[2]}/{what}")
        assert 1 <= int(refused.headers["retry-after"]) <= 60
        if bound is not None:
            assert client.get(f"/api/readings/{ids[0]}/{what}").status_code == 200
        assert _post(client).status_code == 200


def _post(client, orders="ph=7.00", photo=None, **form):
    files = {"photo": ("a.jpg", photo or a_photo(orders))}
    return client.post("/api/batches/1/readings", files=files, data=form)


def _seconds(client) -> float:
    began = time.monotonic()
    assert _post(client).status_code == 200
    return time.monotonic() - began
