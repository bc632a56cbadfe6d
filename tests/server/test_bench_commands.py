"""`stripread bench`, beside a service that runs on the same log."""

import json

import pytest
from fastapi.testclient import TestClient
from sqlalchemy import delete

from service.cli import main
from service.log.models import batch_benches
from service.web.app import create_app
from tests.server.conftest import settings_in


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    made = create_app(settings_in(tmp_path_factory.mktemp("bench"), lan=True, names=("bench.local",)))
    with TestClient(made, base_url="http://localhost", client=("127.0.0.1", 1)):
        yield made


@pytest.fixture
def bench(app, capsys):
    """Call the command; gives its exit code, lines and error."""

    def calling(*words):
        with pytest.raises(SystemExit) as stop:
            main(["bench", *map(str, words), "--data", str(app.state.service.settings.data)])
        out, err = capsys.readouterr()
        return stop.value.code, out.splitlines(), err

    return calling


def client(app, token=None, address="192.168.7.20"):
    headers = {} if token is None else {"Authorization": f"Bearer {token}"}
    return TestClient(app, base_url="http://bench.local", client=(address, 40000), headers=headers)


def test_a_bench_from_its_name_to_its_end(app, bench):
    assert bench("list") == (0, ["no benches: whoever joined sees all; `stripread bench add NAME` names the first"], "")
    assert bench("add", "north") == (0, ["   1  north: 0 batches, profiles: fake"], "")
    token, other = bench("token", "north")[1][0], bench("token", 1)[1][0]
    program = client(app, token)
    batch = program.post("/api/batches", json={"name": "its own"}).json()
    assert (batch["bench"], client(app, other).get("/api/batches").json()[0]["id"]) == ("north", batch["id"])
    link = bench("link", "north", "--address", "http://bench.local:8000")[1][-1]
    root, _, secret = link.partition("/#join=")
    phone = client(app)
    assert (root, phone.post("/api/join", json={"token": secret}).status_code) == ("http://bench.local:8000", 204)
    assert phone.get("/api/about").json()["bench"] == {"id": 1, "name": "north"}
    assert bench("rename", "NORTH", "by the window")[1] == ["   1  by the window: 1 batch, profiles: fake"]
    listed = json.loads(bench("list", "--json")[1][0])
    numbers = [one["id"] for one in listed["tokens"]]
    assert (listed["name"], listed["batches"], len(numbers)) == ("by the window", 1, 2)
    assert not any(made in bench("list")[1] for made in (token, other))
    assert bench("revoke", "by the window", "--token", numbers[1])[1] == [
        f"token {numbers[1]} of by the window is revoked"
    ]
    assert [client(app, one).get("/api/batches").status_code for one in (token, other)] == [200, 401]
    assert bench("revoke", "by the window")[1] == ["by the window is revoked; its batches stay"]
    assert (program.get("/api/batches").status_code, phone.get("/api/batches").status_code) == (401, 401)
    assert "revoked" in bench("list")[1][0]
    assert bench("revoke", "by the window")[::2] == (2, "stripread: by the window was revoked already\n")
    refused = bench("token", "by the window")
    assert refused[::2] == (2, "stripread: The bench by the window was revoked. Add another one.\n")


def test_what_is_handed_to_it(app, bench):
    keeper = TestClient(app, base_url="http://localhost", client=("127.0.0.1", 1))
    batch = keeper.post("/api/batches", json={"name": "the keeper's"}).json()["id"]
    bench("add", "south", "--profile", "fake")
    program = client(app, bench("token", "south")[1][0])
    assert bench("profiles", "south", "--none")[1] == ["- fake"]
    assert program.get("/api/about").json()["profiles"] == []
    assert bench("profiles", "south", "fake")[1] == ["+ fake"]
    assert [strip["name"] for strip in program.get("/api/about").json()["profiles"]] == ["fake"]
    assert program.get(f"/api/batches/{batch}").status_code == 404
    assert bench("give", "south", batch)[1] == [f"batch {batch} is that of south"]
    assert program.get(f"/api/batches/{batch}").status_code == 200
    assert bench("give", "south", batch, "--back")[1] == [f"batch {batch} is the keeper's"]
    assert program.get(f"/api/batches/{batch}").status_code == 404


def test_recount_tells_again_whose_batches_are(app, bench, capsys):
    bench("add", "west")
    program = client(app, bench("token", "west")[1][0])
    batch = program.post("/api/batches", json={"name": "its own"}).json()["id"]
    with app.state.service.database.write() as c:
        c.execute(delete(batch_benches))
    assert program.get("/api/batches").json() == []
    with pytest.raises(SystemExit) as stop:
        main(["log", "recount", "--data", str(app.state.service.settings.data)])
    assert (stop.value.code, capsys.readouterr().out) == (0, "counted anew\n")
    assert [one["id"] for one in program.get("/api/batches").json()] == [batch]


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("token", "nobody"), "There is no bench nobody. There are: "),
        (("add", "12"), "A bench's name has 1 to 60 characters"),
        (("add", "west", "--profile", "none such"), "the log knows no profile 'none such'; it knows: fake"),
        (("give", "east", "99999"), "There is no batch 99999."),
        (("give", "east", "1", "--back"), "Batch 1 is none of this bench's."),
        (("revoke", "east", "--token", "9999"), "There is no such token, or it was revoked already."),
        (("profiles", "east", "fake", "--none"), "give the names of profiles, or --none, not both"),
        (("link", "east", "--address", "bench.local"), "--address: give the page's address"),
    ],
)
def test_a_wrong_call_ends_with_a_sentence(bench, words, said):
    bench("add", "east")
    code, lines, err = bench(*words)
    assert (code, lines) == (2, [])
    assert said in err
    assert err.count("\n") == 1
