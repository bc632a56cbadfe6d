"""Who comes in as which bench: tokens, links, phones; and that what was revoked ends at once, on every service."""

from dataclasses import replace

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import create_engine, text, update

from service.log.models import bench_secrets
from service.web.app import create_app
from tests.server.conftest import settings_in

PHONE = ("192.168.7.20", 40000)
HERE = ("127.0.0.1", 40000)


def _settings(folder, **more):
    return settings_in(folder, lan=True, names=("bench.local",), **more)


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    made = create_app(_settings(tmp_path_factory.mktemp("door")))
    with TestClient(made, base_url="http://localhost", client=HERE):
        yield made


@pytest.fixture
def keeper(app):
    return TestClient(app, base_url="http://localhost", client=HERE)


@pytest.fixture
def bench(keeper, request):
    """The address of a bench of this test's own."""
    return f"/api/benches/{keeper.post('/api/benches', json={'name': request.node.name[-50:]}).json()['id']}"


def phone(app, address="192.168.7.20", **more):
    return TestClient(app, base_url="http://bench.local", client=(address, 40000), **more)


def bearer(token):
    return {"Authorization": f"Bearer {token}"}


def joined(app, keeper, bench, address="192.168.7.20"):
    """A phone that came in by a new link of the bench."""
    link = keeper.post(f"{bench}/link").json()["link"]
    one = phone(app, address)
    assert one.post("/api/join", json={"token": link.partition("#join=")[2]}).status_code == 204
    return one


def status(client, **more):
    return client.get("/api/batches", **more).status_code


def test_a_phone_that_joined_by_its_link_is_the_bench_s(app, keeper, bench):
    one = joined(app, keeper, bench)
    batch = one.post("/api/batches", json={"name": "of the phone"}).json()
    about = one.get("/api/about").json()
    assert (about["bench"]["id"], about["local"]) == (int(bench.rpartition("/")[2]), False)
    assert [b["id"] for b in one.get("/api/batches").json()] == [batch["id"]]
    assert batch["bench"] == about["bench"]["name"]
    token = keeper.post(f"{bench}/tokens").json()["token"]
    assert [b["id"] for b in phone(app).get("/api/batches", headers=bearer(token)).json()] == [batch["id"]]
    assert next(s for s in keeper.get("/api/sessions").json()[::-1])["bench"] == about["bench"]["name"]


def test_a_phone_of_the_keeper_s_link_sees_all_as_before(app, keeper, bench):
    theirs = joined(app, keeper, bench).post("/api/batches", json={"name": "a bench's"}).json()
    one = phone(app)
    one.post("/api/join", json={"token": app.state.service.pairing.link().partition("#join=")[2]})
    assert theirs["id"] in {batch["id"] for batch in one.get("/api/batches").json()}
    assert one.get("/api/about").json()["bench"] is None
    assert one.get("/api/benches").json()["code"] == "only_here"


def test_a_token_acts_as_its_bench_even_on_the_bench_computer(keeper, bench):
    token = keeper.post(f"{bench}/tokens").json()["token"]
    keeper.post("/api/batches", json={"name": "the keeper's"})
    assert keeper.get("/api/batches", headers=bearer(token)).json() == []
    assert keeper.get("/api/batches", headers={"Authorization": f"bEARER  {token}"}).json() == []
    assert keeper.get("/api/sessions", headers=bearer(token)).json()["code"] == "only_here"
    for wrong in (token[:-1], token + "x", "", "bench_", f"{token} {token}", "\udcff"):
        refused = keeper.get("/api/batches", headers={"Authorization": f"Bearer {wrong}".encode("utf-8", "replace")})
        assert (refused.status_code, refused.json()["code"]) == (401, "wrong_token")


def test_a_link_is_no_token_and_a_token_no_link(app, keeper, bench):
    token = keeper.post(f"{bench}/tokens").json()["token"]
    link = keeper.post(f"{bench}/link").json()["link"].partition("#join=")[2]
    assert status(phone(app), headers=bearer(link)) == 401
    assert phone(app, "192.168.7.30").post("/api/join", json={"token": token}).status_code == 403


def test_a_link_of_a_bench_has_its_bounds(app, keeper, bench):
    def join(token, address):
        return phone(app, address).post("/api/join", json={"token": token}).status_code

    made = keeper.post(f"{bench}/link").json()
    assert (made["joins_left"], made["hours"]) == (10, 12.0)
    token = made["link"].partition("#join=")[2]
    assert [join(token, f"192.168.8.{n}") for n in range(11)] == [204] * 10 + [403]
    old = keeper.post(f"{bench}/link").json()["link"].partition("#join=")[2]
    new = keeper.post(f"{bench}/link").json()["link"].partition("#join=")[2]
    assert (join(old, "192.168.9.1"), join(new, "192.168.9.2")) == (403, 204)
    with app.state.service.database.write() as c:
        c.execute(update(bench_secrets).values(ends_at="2026-01-01T00:00:00.000000+00:00"))
    assert join(new, "192.168.9.3") == 403


def test_what_was_revoked_ends_at_once(app, keeper, bench):
    one, two = (keeper.post(f"{bench}/tokens").json()["token"] for _ in range(2))
    cookie, link = joined(app, keeper, bench), keeper.post(f"{bench}/link").json()["link"].partition("#join=")[2]
    listed = next(b for b in keeper.get("/api/benches").json() if bench.endswith(f"/{b['id']}"))
    assert (len(listed["tokens"]), listed["phones"]) == (2, 1)
    assert keeper.delete(f"{bench}/tokens/{listed['tokens'][0]['id']}").status_code == 204
    assert keeper.delete(f"{bench}/tokens/{listed['tokens'][0]['id']}").status_code == 404
    assert [status(phone(app), headers=bearer(token)) for token in (one, two)] == [401, 200]
    assert status(cookie) == 200
    assert keeper.delete(bench).status_code == 204
    assert (status(phone(app), headers=bearer(two)), status(cookie)) == (401, 401)
    assert phone(app).post("/api/join", json={"token": link}).status_code == 403
    for path in ("tokens", "link"):
        assert keeper.post(f"{bench}/{path}").json()["code"] == "bench_revoked"
    listed = next(b for b in keeper.get("/api/benches").json() if bench.endswith(f"/{b['id']}"))
    assert listed["revoked_at"] is not None


def test_a_phone_of_a_bench_is_shut_out_like_others(app, keeper, bench):
    one = joined(app, keeper, bench)
    newest = keeper.get("/api/sessions").json()[-1]
    assert keeper.delete(f"/api/sessions/{newest['id']}").status_code == 204
    assert status(one) == 401


def test_names_are_names(keeper, bench):
    for wrong in ("", "   ", "7", "x" * 61, "a\x07b"):
        assert keeper.post("/api/benches", json={"name": wrong}).json()["code"] == "bad_name"
    assert keeper.post("/api/benches", json={"name": "  North   window "}).json()["name"] == "North window"
    assert keeper.post("/api/benches", json={"name": "north WINDOW"}).json()["code"] == "name_taken"
    assert keeper.patch(bench, json={"name": "North window"}).json()["code"] == "name_taken"
    assert keeper.patch(bench, json={"name": "south"}).json()["name"] == "south"
    assert keeper.patch("/api/benches/9999", json={"name": "nobody"}).json()["code"] == "no_such_bench"


def test_guesses_at_tokens_are_few(tmp_path):
    app = create_app(_settings(tmp_path, guesses_per_minute=3))
    with TestClient(app, base_url="http://localhost", client=HERE) as keeper:
        made = keeper.post("/api/benches", json={"name": "one"}).json()["id"]
        token = keeper.post(f"/api/benches/{made}/tokens").json()["token"]
        guesses = [status(phone(app), headers=bearer(f"bench_{n}")) for n in range(5)]
        assert guesses == [401, 401, 401, 429, 429]
        assert status(phone(app, "192.168.7.99"), headers=bearer(token)) == 200
        known = [status(phone(app, "192.168.7.98"), headers=bearer(token)) for _ in range(9)]
        assert known == [200] * 9  # who is known does not guess


@pytest.mark.slow
def test_another_service_of_the_same_database_hears_of_it_at_once(postgres, tmp_path):
    engine = create_engine(postgres, isolation_level="AUTOCOMMIT")
    with engine.connect() as c:
        c.execute(text("CREATE DATABASE bench_door"))
    engine.dispose()
    url = postgres.rpartition("/")[0] + "/bench_door"
    apps = []
    for name in ("one", "two"):
        (tmp_path / name).mkdir()
        apps.append(create_app(replace(_settings(tmp_path / name), database=url)))
    one, two = apps
    with (
        TestClient(one, base_url="http://localhost", client=HERE) as keeper,
        TestClient(two, base_url="http://localhost"),
    ):
        bench = f"/api/benches/{keeper.post('/api/benches', json={'name': 'north'}).json()['id']}"
        token = keeper.post(f"{bench}/tokens").json()["token"]
        cookies = dict(joined(one, keeper, bench).cookies)
        at_two = phone(two, cookies=cookies)
        assert (status(at_two), status(phone(two), headers=bearer(token))) == (200, 200)
        own = phone(one)  # the keeper's phones, too
        own.post("/api/join", json={"token": one.state.service.pairing.link().partition("#join=")[2]})
        own_at_two = phone(two, cookies=dict(own.cookies))
        assert status(own_at_two) == 200
        keeper.delete(f"/api/sessions/{keeper.get('/api/sessions').json()[-1]['id']}")
        assert (status(own), status(own_at_two)) == (401, 401)
        assert keeper.delete(bench).status_code == 204
        assert (status(at_two), status(phone(two), headers=bearer(token))) == (401, 401)
