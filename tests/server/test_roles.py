"""A bench finds its own and nothing of others, at every address of the app. SQLite and PostgreSQL."""

import json

import pytest
from fastapi.routing import APIRoute
from fastapi.testclient import TestClient
from sqlalchemy import create_engine, func, select, text

from service.bench.ledger.marks import vessel_mark
from service.bench.notes.of_vessels import MAIN
from service.log.benches.owners import recount_owners
from service.log.check import check_log
from service.log.models import entries, events
from service.web.app import create_app
from service.web.asking import roles
from service.web.asking.roles import DECIDED, For
from tests.server.conftest import a_photo, settings_in

PHONE = ("192.168.7.20", 40000)
HERE = ("127.0.0.1", 40000)
NAMES = ("north", "south")
THOROUGH = (pytest.mark.slow, pytest.mark.thorough)  # what the door asks of PostgreSQL: test_bench_door, quicker


class World:
    """Two benches, each with a batch, a reading, notes; a batch of the keeper's beside them."""

    def __init__(self, app):
        self.app = app
        self.keeper = TestClient(app, base_url="http://localhost", client=HERE)
        self.program, self.bench, self.batch, self.entry, self.note = {}, {}, {}, {}, {}
        for name in NAMES:
            made = self.keeper.post("/api/benches", json={"name": name}).json()
            token = self.keeper.post(f"/api/benches/{made['id']}/tokens").json()["token"]
            self.bench[name] = made["id"]
            self.program[name] = self.with_token(token)
        for name in NAMES:
            self._fill(self.program[name], name)
        self._fill(self.keeper, "keeper")

    def with_token(self, token):
        auth = {"Authorization": f"Bearer {token}"}
        return TestClient(self.app, base_url="http://bench.local", client=PHONE, headers=auth)

    def phone(self, address="192.168.7.21"):
        return TestClient(self.app, base_url="http://bench.local", client=(address, 40000))

    def _fill(self, client, name):
        mark = f"mark-of-{name}"
        self.batch[name] = client.post("/api/batches", json={"name": mark}).json()["id"]
        at = f"/api/batches/{self.batch[name]}"
        sent = client.post(f"{at}/readings", files={"photo": (f"{mark}.jpg", a_photo())}, data={"note": mark})
        self.entry[name] = sent.json()["log"]["id"]
        weight = {"kind": "weight", "data": {"of": "chloride", "grams": 412.5}, "who": mark}
        self.note[name] = client.post(f"{at}/notes", json=weight).json()["id"]
        poured = {"kind": "poured", "data": {"what": mark, "litres": 1.0}, "who": mark}
        assert client.post(f"{at}/notes", json=poured).status_code == 201

    def filled(self, path, name):
        """The address with the numbers of what is this bench's, or the keeper's."""
        known = {"batch": self.batch[name], "entry": self.entry[name], "note": self.note[name], "form": "html"}
        known |= {"bench": self.bench.get(name, 1), "name:path": "x"}
        for word in ("calibration", "profile", "phone", "photo", "session", "token"):
            known[word] = 1
        for word, value in known.items():
            path = path.replace(f"{{{word}}}", str(value))
        assert "{" not in path, f"this test knows no value for {path}"
        return path


@pytest.fixture(scope="module", params=["sqlite", pytest.param("postgresql", marks=THOROUGH)])
def world(request, tmp_path_factory):
    url = _own(request.getfixturevalue("postgres")) if request.param == "postgresql" else None
    folder = tmp_path_factory.mktemp(request.param)
    app = create_app(settings_in(folder, database=url, lan=True, names=("bench.local",), posts_per_minute=10**6))
    with TestClient(app, base_url="http://localhost", client=HERE):
        yield World(app)


def _own(server):
    engine = create_engine(server, isolation_level="AUTOCOMMIT")
    with engine.connect() as c:
        c.execute(text("CREATE DATABASE roles"))
    engine.dispose()
    return server.rpartition("/")[0] + "/roles"


def every_address(app):
    """Method and path of every address, and whether it is one of the page's own files."""

    def routes(of):
        for route in of:
            inner = getattr(route, "original_router", None)
            yield from [route] if inner is None else routes(inner.routes)

    found = {}
    for route in routes(app.routes):
        if route.path == "/openapi.json":
            continue
        assert isinstance(route, APIRoute), f"{route} has no decision before it"
        for method in route.methods - {"HEAD"}:
            found[f"{method} {route.path}"] = route.endpoint.__module__ == "service.web.app"
    return found


# What a request of each address may say, as far as it must: with it the answer is the store's, not that of a model.
JSON = {
    "POST /api/batches": {"name": "another"},
    "PATCH /api/batches/{batch}": {"name": "taken over"},
    "POST /api/batches/{batch}/notes": {"kind": "weight", "data": {"of": "chloride", "grams": 1}, "keep": True},
    "POST /api/batches/{batch}/notes/{note}/corrections": {"why": "not mine", "withdraw": True},
    "POST /api/batches/{batch}/procedure": {"procedure": "chloride_iron", "reason": "not mine"},
    "POST /api/batches/{batch}/stage": {"reason": "not mine"},
    "POST /api/readings/{entry}/corrections": {"why": "not mine", "withdraw": True},
}
ASKED = {  # what a query must say to be answered, or to be tempting
    "GET /api/plan/lye": "chloride_g=100",
    "GET /api/plan/metal": "chloride_g=100",
    "GET /api/plan/waste": "litres=1",
    "GET /api/plan/silver": "litres=1&silver_mg_l=100",
    "GET /api/plan/acid": "",
}


def ask(world, client, address, name):
    """This address asked by ``client`` about what is ``name``'s."""
    method, _, path = address.partition(" ")
    query = ASKED.get(address, "")
    if path.startswith("/api/compare"):
        query = f"batch={world.batch[name]}&batch={world.batch['north' if name != 'north' else 'keeper']}"
    if path == "/api/search":
        query = "words=mark"
    if path == "/api/labels/named":
        log = client.get("/api/about").json()["log_mark"]
        query = f"vessel={vessel_mark(MAIN)}&log={log}&batch={world.batch[name]}"
    more = {}
    if address in ("POST /api/batches/{batch}/readings", "POST /api/labels/read"):
        more = {"files": {"photo": ("a.jpg", a_photo())}}
    elif method != "GET":
        more = {"json": JSON.get(address, {})}
    return client.request(method, f"{world.filled(path, name)}?{query}", **more)


def test_every_address_has_a_decision(world):
    found = every_address(world.app)
    assert {address for address, of_page in found.items() if not of_page} | {"GET /"} == set(DECIDED)


def test_an_address_without_a_decision_is_for_no_bench(world, monkeypatch):
    monkeypatch.delitem(DECIDED, "GET /api/stock")
    assert world.program["north"].get("/api/stock").json()["code"] == "keeper_only"
    assert world.keeper.get("/api/stock").status_code == 200


@pytest.mark.parametrize("looks", [True, False], ids=["at the door", "in the store alone"])
def test_no_address_tells_a_bench_of_another(world, looks, monkeypatch):
    """Everything of the south bench asked for by the north's program; then again with no look at the door."""
    if not looks:
        monkeypatch.setattr(roles, "_need_own", lambda *_: None)
    before = _rows_of(world, "south"), _rows_of(world, "keeper")
    for other in ("south", "keeper"):
        for address, whom in DECIDED.items():
            if whom is not For.OWN and (other == "keeper" or not looks):
                continue  # these name nothing of a bench: once is enough
            answer = ask(world, world.program["north"], address, other)
            said = f"{address}: {answer.status_code} {answer.text[:200]}"
            for mark in ("mark-of-south", "mark-of-keeper"):
                assert mark not in answer.text, said
            if whom is For.OWN and "{" in address:
                assert answer.status_code == 404, said
                assert answer.json()["code"] in ("no_such_batch", "no_such_reading"), said
            elif "/api/compare" in address:
                assert answer.status_code == 404, said
            elif whom is For.OWN:
                assert answer.status_code in (200, 201), said
            elif whom in (For.KEEPER, For.HERE):
                assert (answer.status_code, answer.json()["code"]) in (
                    (403, "keeper_only"), (403, "only_here"), (422, "invalid_request"),
                ), said  # fmt: skip
    assert (_rows_of(world, "south"), _rows_of(world, "keeper")) == before


def _rows_of(world, name):
    with world.app.state.service.database.read() as c:
        return [
            c.execute(select(func.count()).where(table.c.batch_id == world.batch[name])).scalar_one()
            for table in (entries, events)
        ]


def test_what_is_not_its_own_is_as_what_is_not_there(world):
    north = world.program["north"]
    for path in ("/api/batches/{}", "/api/batches/{}/timeline", "/api/batches/{}/export.csv"):
        other, none = north.get(path.format(world.batch["south"])), north.get(path.format(999_999))
        assert other.text.replace(str(world.batch["south"]), "N") == none.text.replace("999999", "N")
        assert (other.status_code, other.headers.keys()) == (404, none.headers.keys())
    other, none = north.get(f"/api/readings/{world.entry['south']}/photo"), north.get("/api/readings/999999/photo")
    assert other.text.replace(str(world.entry["south"]), "N") == none.text.replace("999999", "N")


def test_a_bench_reads_and_adds_to_its_own(world):
    """Else the walk would pass where nobody is ever answered."""
    north = world.program["north"]
    for address, whom in DECIDED.items():
        if whom is For.OWN and address.startswith("GET") and "compare" not in address:
            answer = ask(world, north, address, "north")
            assert answer.status_code == 200, f"{address}: {answer.text[:200]}"
    own = ask(world, north, "GET /api/batches", "north").json()
    assert {"mark-of-north"} <= {batch["name"] for batch in own} <= {"mark-of-north", "another"}
    assert {batch["bench"] for batch in own} == {"north"}
    assert "mark-of-north" in ask(world, north, "GET /api/labels/named", "north").text
    for path in ("search?words=mark", "stock", f"batches/{world.batch['north']}/export.csv"):
        assert "mark-of-north" in north.get(f"/api/{path}").text
    every = {batch["name"] for batch in world.keeper.get("/api/batches").json()}
    assert {"mark-of-north", "mark-of-south", "mark-of-keeper"} <= every
    assert "mark-of-south" in world.keeper.get("/api/search?words=mark").text


def test_a_vessel_of_another_bench_is_no_place_to_pour_from(world):
    """A note names a batch in its own fields, where no address shows it."""
    for other in (world.batch["south"], 999_999):
        moved = {"kind": "moved", "data": {"how": "pour", "into": "pot", "from_batch": other}}
        answer = world.program["north"].post(f"/api/batches/{world.batch['north']}/notes", json=moved)
        assert (answer.status_code, answer.json()["detail"]) == (422, f"there is no batch {other}")


def test_keys_of_benches_do_not_meet(world):
    """The very same request under the very same key: each has its own answer."""
    made = [
        client.post("/api/batches", json={"name": "another"}, headers={"Idempotency-Key": "the same"}).json()
        for client in (world.program["north"], world.program["south"], world.keeper, world.program["north"])
    ]
    assert len({batch["id"] for batch in made[:3]}) == 3
    assert made[3] == made[0]


def test_profiles_are_handed_out(world):
    north, bench = world.program["north"], world.bench["north"]
    assert [strip["name"] for strip in north.get("/api/about").json()["profiles"]] == ["fake"]
    assert world.keeper.patch(f"/api/benches/{bench}", json={"profiles": []}).json()["profiles"] == []
    assert north.get("/api/about").json()["kinds"]["ph"] is False
    for said in ({}, {"profile": "fake"}):
        sent = north.post(
            f"/api/batches/{world.batch['north']}/readings", files={"photo": ("a.jpg", a_photo())}, data=said
        )
        assert (sent.status_code, sent.json()["code"]) == (409, "no_profile")
    unknown = world.keeper.patch(f"/api/benches/{bench}", json={"profiles": ["none"]})
    assert (unknown.status_code, unknown.json()["code"]) == (422, "no_such_profile")
    world.keeper.patch(f"/api/benches/{bench}", json={"profiles": ["fake"]})
    assert north.get("/api/about").json()["kinds"]["ph"] is True


def test_a_batch_is_given_and_taken_back(world):
    batch, bench = world.batch["keeper"], world.bench["north"]
    at = f"/api/benches/{bench}/batches/{batch}"
    assert world.program["north"].get(f"/api/batches/{batch}").status_code == 404
    assert world.keeper.put(at).status_code == 204
    assert world.program["north"].get(f"/api/batches/{batch}").json()["bench"] == "north"
    assert world.keeper.delete(f"/api/benches/{world.bench['south']}/batches/{batch}").status_code == 404
    assert world.keeper.delete(at).status_code == 204
    assert world.program["north"].get(f"/api/batches/{batch}").status_code == 404
    told = [(e["what"], e["detail"]) for e in world.keeper.get(f"/api/batches/{batch}").json()["events"]]
    assert ("given to a bench", {"bench": f"{bench} north"}) in told
    assert ("given to a bench", {"bench": "-"}) in told


def test_the_log_is_whole_with_benches_in_it(world):
    service = world.app.state.service
    assert check_log(service.database, service.settings.data).faults == ()
    taken = text("UPDATE batch_benches SET bench_id = :bench WHERE batch_id = :batch")
    with service.database.write() as c:
        c.execute(taken, {"bench": world.bench["south"], "batch": world.batch["north"]})
    found = check_log(service.database, service.settings.data).faults
    with service.database.write() as c:
        recount_owners(c)
    assert check_log(service.database, service.settings.data).faults == ()
    assert len(found) == 1
    assert f"batch {world.batch['north']} is not the bench's" in found[0]


def test_nothing_secret_is_kept(world):
    made = world.keeper.post(f"/api/benches/{world.bench['north']}/tokens").json()["token"]
    link = world.keeper.post(f"/api/benches/{world.bench['north']}/link").json()["link"]
    with world.app.state.service.database.read() as c:
        kept = json.dumps([list(row) for row in c.execute(text("SELECT * FROM bench_secrets"))])
    for secret in (made, link.partition("#join=")[2]):
        assert len(secret) > 43  # 32 random bytes in base64 (RFC 4648, section 5), and what it begins with
        assert secret not in kept
        assert secret not in world.keeper.get("/api/benches").text
