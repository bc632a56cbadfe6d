"""What somebody at one bench would try against another: numbers in bodies, keys, the shared vessel, a lost token."""

import io
import re
import threading

import pytest
import segno
from fastapi.testclient import TestClient

from service.bench.notes.of_vessels import MAIN
from service.log.check.sums import sum_faults
from service.report.labels.address import vessel_address
from service.web.app import create_app
from service.web.asking.roles import DECIDED, For
from service.web.routes.host import benches as benches_routes
from tests.server.conftest import a_photo, settings_in
from tests.server.test_roles import HERE, World, ask


@pytest.fixture(scope="module")
def world(tmp_path_factory):
    folder = tmp_path_factory.mktemp("attacks")
    app = create_app(settings_in(folder, lan=True, names=("bench.local",), posts_per_minute=10**6))
    with TestClient(app, base_url="http://localhost", client=HERE):
        yield World(app)


def _told_alike(one, other, numbers):
    """Both refused, and word for word the same but for the number that was asked for."""
    assert one.status_code == other.status_code >= 400, one.text
    told = [re.sub(rf"\b{n}\b", "N", answer.text) for n, answer in zip(numbers, (one, other), strict=True)]
    assert told[0] == told[1]


def test_numbers_in_a_body_find_nothing_of_another_bench(world):
    """The address names its own batch, so that the door lets it pass; what is said in it names the south's."""
    north, own = world.program["north"], f"/api/batches/{world.batch['north']}"
    nowhere = 999_999
    posted = {
        "a note struck out": lambda n: north.post(f"{own}/notes", json={"kind": "strike", "data": {"note": n}}),
        "a note corrected": lambda n: north.post(f"{own}/notes/{n}/corrections", json={"why": "x", "withdraw": True}),
        "a danger dealt with": lambda n: north.post(
            f"{own}/notes", json={"kind": "made_safe", "data": {"note": n, "what": "aired"}}
        ),
    }
    read = {
        "a blank": lambda n: _sent(north, own, blank_entry=n),
        "a pair of vials": lambda n: _sent(north, own, kind="tint", path_mm=10, cells_entry=n),
        "the batch's own water": lambda n: north.patch(own, json={"water": {"blank_entry": n}}),
    }
    for number, requests in ((world.note["south"], posted), (world.entry["south"], read)):
        for request in requests.values():
            _told_alike(request(number), request(nowhere), (number, nowhere))
    there, none = (north.get(f"/api/search?batch={n}").json() for n in (world.batch["south"], nowhere))
    assert there == none


def _sent(client, batch, **said):
    return client.post(f"{batch}/readings", files={"photo": ("a.jpg", a_photo())}, data=said)


def test_a_photo_s_key_is_each_bench_s_own(world):
    """The key goes along to the thread that logs the reading."""
    photo, key = a_photo(), {"Idempotency-Key": "seen over a shoulder"}
    entries = []
    for name in ("north", "south", "keeper", "north"):
        client = world.program.get(name, world.keeper)
        files = {"photo": (f"{name}.jpg", photo)}
        sent = client.post(f"/api/batches/{world.batch[name]}/readings", files=files, headers=key)
        assert sent.status_code == 200, sent.text
        entries.append((sent.json()["log"]["id"], sent.headers.get("idempotency-replayed")))
    assert len({number for number, _ in entries}) == 3
    assert entries[3] == (entries[0][0], "true")


def test_a_photo_of_another_bench_s_label_names_nothing(world):
    """The code is read by a reader that knows no bench; what it names is looked up as the asker's."""
    for name in ("north", "south"):
        log = world.keeper.get("/api/about").json()["log_mark"]
        picture = io.BytesIO()
        segno.make(vessel_address("http://bench.local:8000", world.batch[name], log, MAIN), error="m").save(
            picture, kind="png", scale=6, border=4
        )
        files = {"photo": ("label.png", picture.getvalue(), "image/png")}
        told = {client: asker.post("/api/labels/read", files=files).json() for client, asker in world.program.items()}
        assert (told[name]["found"], told[name]["batch_name"]) == ("vessel", f"mark-of-{name}")
        other = told["south" if name == "north" else "north"]
        assert (other["found"], other["batch_name"], other["name"]) == ("none", "", "")
        assert "There is no batch" in other["sentence"]


def test_what_all_batches_share_is_added_up_from_all_whoever_writes(world):
    """A bench withdraws that the vessel was handed over: what the others brought is in it as before."""
    decant = {"name": "wash 1", "litres": 2.0, "looks": "cloudy", "chloride": 0.1}
    at = {name: f"/api/batches/{world.batch[name]}" for name in ("north", "south")}
    for name, path in at.items():
        poured = world.program[name].post(f"{path}/notes", json={"kind": "decant", "data": decant})
        assert poured.status_code == 201, poured.text
    before = world.keeper.get("/api/stock").json()["silver"]
    assert before["batches"] == 2
    gone = {"kind": "emptied", "data": {"what": "to the collector", "silver": "left in"}}
    number = world.program["south"].post(f"{at['south']}/notes", json=gone).json()["id"]
    assert world.program["north"].get("/api/stock").json()["silver"] is None
    withdrawn = {"why": "not fetched yet", "withdraw": True}
    made = world.program["south"].post(f"{at['south']}/notes/{number}/corrections", json=withdrawn)
    assert made.status_code == 201, made.text
    for asker in (world.keeper, *world.program.values()):
        assert asker.get("/api/stock").json()["silver"] == before
    assert world.program["north"].get(f"{at['north']}/vessels").json()["shared_stock"] == before
    with world.app.state.service.database.read() as c:
        assert list(sum_faults(c)) == []


def test_a_danger_is_everybody_s_what_was_said_of_it_is_not(world):
    """Who pours into the shared vessel must know of it; the words are the other bench's."""
    for what, words in (("acid", None), ("bleach", "mark-of-south spilled it")):
        data = {"what": what, "litres": 1.0, "contents": [what], **({"despite": words} if words else {})}
        poured = world.program["south"].post(
            f"/api/batches/{world.batch['south']}/notes", json={"kind": "poured", "data": data}
        )
        assert poured.status_code == 201, poured.text
    everybody = world.program | {"keeper": world.keeper}
    told = {name: client.get("/api/stock").json() for name, client in everybody.items()}
    for stock in told.values():
        assert "Bleach with acid gives off chlorine" in " ".join(stock["dangers"])
    assert "mark-of-south" not in str(told["north"])
    assert all("mark-of-south spilled it" in " ".join(told[name]["dangers"]) for name in ("south", "keeper"))


@pytest.mark.parametrize("said", ["Bearer", "bearer", "BEARER ", "Bearer  ", "Bearer nothing"])
def test_a_program_that_lost_its_token_is_no_keeper(world, said):
    """As ``-H "Authorization: Bearer $TOKEN"`` is sent where TOKEN is not set, on the bench computer itself."""
    answer = world.keeper.get("/api/batches", headers={"Authorization": said})
    assert (answer.status_code, answer.json()["code"]) == (401, "wrong_token")


def test_what_is_for_the_bench_computer_refuses_at_the_door(world, monkeypatch):
    """Were one of these addresses to forget its own look, a bench would get no further for it."""
    for dependency in benches_routes.LOCAL:
        monkeypatch.setitem(world.app.dependency_overrides, dependency.dependency, lambda: None)
    for address, whom in DECIDED.items():
        if whom is For.HERE:
            answer = ask(world, world.program["north"], address, "south")
            assert (answer.status_code, answer.json()["code"]) == (403, "only_here"), address


def test_a_phone_that_is_shut_out_is_not_put_back_by_one_just_coming_in(world):
    """Both write the table of phones anew: each waits for the other."""
    pairing = world.app.state.service.pairing
    cookie = pairing.join(pairing.link().partition("#join=")[2], "a phone of the keeper")
    number = pairing.session_of(cookie).id
    with pairing._lock:  # one is just coming in, and has looked who is there
        there = pairing._valid
        out = threading.Thread(target=pairing.revoke, args=(number,))
        out.start()
        out.join(0.2)
        pairing._valid = dict(there)
    out.join(10)
    assert pairing.session_of(cookie) is None
