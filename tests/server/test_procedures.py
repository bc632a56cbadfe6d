"""A batch's procedure over HTTP and on the command line: chosen, changed with a reason, and changed back."""

import pytest
from click.testing import CliRunner

from service.bench.procedure import SHIPPED, earlier_procedure, load_procedure
from service.cli import app
from service.log.course.state import washing_begins

WHY = {"reason": "no sugar left", "who": "A."}


@pytest.fixture
def batch(client):
    made = client.post("/api/batches", json={"name": "Chloride", "procedure": "chloride_lye_sugar"})
    assert made.status_code == 201, made.text
    return made.json()["id"]


def _bench(client, batch):
    return client.get(f"/api/batches/{batch}/bench").json()


def _change(client, batch, **body):
    return client.post(f"/api/batches/{batch}/procedure", json={**WHY, **body})


def _newest(client, batch, kind):
    return next(n for n in reversed(client.get(f"/api/batches/{batch}/notes").json()) if n["kind"] == kind)


def test_all_that_is_shipped_is_listed_with_its_stages(client):
    found = client.get("/api/procedures").json()
    assert [p["name"] for p in found] == list(SHIPPED)
    for one in found:
        assert [s["id"] for s in one["stages"]] == [s.id for s in load_procedure(one["name"]).stages]


def test_a_batch_is_made_by_a_procedure_and_by_none_that_is_not_shipped(client):
    batch = client.post("/api/batches", json={"name": "x", "procedure": "chloride_zinc"}).json()["id"]
    assert _bench(client, batch)["procedure"] == "silver chloride to silver by zinc in dilute acid"
    before = len(client.get("/api/batches").json())
    wrong = client.post("/api/batches", json={"name": "x", "procedure": "../etc/passwd"})
    assert wrong.status_code == 422
    assert "shipped ones" in wrong.json()["detail"]
    assert len(client.get("/api/batches").json()) == before  # nothing is left behind


def test_a_stage_of_the_same_name_is_gone_on_with(client, batch):
    now = _change(client, batch, procedure="chloride_zinc").json()
    assert (now["stage"]["id"], len(now["stages"])) == ("acid-wash", 7)
    assert now["moves"][-1]["procedure"] == "silver chloride to silver by zinc in dilute acid"
    assert (now["moves"][-1]["reason"], now["moves"][-1]["who"]) == ("no sugar left", "A.")
    with client.app.state.service.database.read() as c:
        assert washing_begins(c, batch) == ()  # the washes go on


def test_a_stage_that_the_other_has_not_is_asked_about(client, batch):
    client.post(f"/api/batches/{batch}/stage", json={"to": "lye-sugar", "reason": "made up"})
    asked = _change(client, batch, procedure="chloride_iron")
    assert asked.status_code == 422
    assert "reduce, metal-out" in asked.json()["detail"]
    assert _bench(client, batch)["stage"]["id"] == "lye-sugar"
    assert "no stage 'polish'" in _change(client, batch, procedure="chloride_iron", to="polish").json()["detail"]
    now = _change(client, batch, procedure="chloride_iron", to="reduce").json()
    assert now["stage"]["id"] == "reduce"
    with client.app.state.service.database.read() as c:
        assert len(washing_begins(c, batch)) == 2  # into the lye, and by the change


def test_withdrawn_it_never_was_and_put_back_it_is_again(client, batch):
    client.post(f"/api/batches/{batch}/stage", json={"to": "lye-sugar", "reason": "made up"})
    _change(client, batch, procedure="chloride_iron", to="reduce")
    client.post(f"/api/batches/{batch}/stage", json={"to": "metal-out", "reason": "made up"})
    number = _newest(client, batch, "procedure")["id"]
    where = f"/api/batches/{batch}/notes/{number}/corrections"
    assert client.post(where, json={"withdraw": True, "why": "sugar came"}).status_code in {200, 201}
    now = _bench(client, batch)
    assert (now["stage"]["id"], now["procedure"]) == ("lye-sugar", "silver chloride to silver by lye and sugar")
    assert [m["to"] for m in now["moves"]] == ["lye-sugar"]  # the move to a stage of the other counts no more
    assert client.get("/api/search?stage=lye-sugar&kind=batch").json()["found"]
    assert client.post(where, json={"undo": True, "why": "it did not"}).status_code in {200, 201}
    assert _bench(client, batch)["stage"]["id"] == "metal-out"


@pytest.mark.parametrize(
    ("body", "says"),
    [
        ({"procedure": "chloride_lye_sugar"}, "already"),
        ({"procedure": "chloride_tin"}, "shipped ones"),
        ({}, "either"),
        ({"procedure": "chloride_zinc", "text": "x"}, "either"),
        ({"procedure": "chloride_zinc", "reason": "  "}, "reason"),
        ({"text": '[[stage]]\nid = "a"\ntitle = "A"\nread = ["ph"]\ngate = {kind = "tint_none"}'}, "`read` lacks"),
    ],
)
def test_what_is_wrong_changes_nothing(client, batch, body, says):
    wrong = _change(client, batch, **body)
    assert wrong.status_code == 422
    assert says in wrong.text
    assert len(_bench(client, batch)["moves"]) == 0


def test_a_file_of_ones_own_as_text(client, batch):
    text = '[[stage]]\nid = "ours"\ntitle = "Ours"\n'
    assert _change(client, batch, text=text, to="ours").json()["stage"]["title"] == "Ours"


def test_the_report_and_the_timeline_tell_the_change(client, batch):
    _change(client, batch, procedure="chloride_zinc")
    assert client.post(f"/api/batches/{batch}/stage", json={"to": "reduce", "reason": "made up"}).status_code == 200
    _change(client, batch, procedure="copper_cementation", to="wash", reason="it is nitrate")
    report = client.get(f"/api/batches/{batch}/report.html").text
    for words in ("no sugar left", "it is nitrate", "on to Turn it to metal", "hydrogen, which burns"):
        assert words in report
    assert client.get(f"/api/batches/{batch}/report.pdf").status_code == 200
    told = [e["words"] for e in client.get(f"/api/batches/{batch}/timeline").json()["entries"]]
    on = "by zinc in dilute acid, on in: Wash the copper out, acid side: no sugar left"
    assert any(on in words for words in told)


def test_on_the_command_line(tmp_path):
    data = ["--data", str(tmp_path / "log")]

    def run(*args):
        return CliRunner().invoke(app, [*args, *data])

    assert run("batch", "new", "x", "--procedure", "chloride_iron").output == "batch 1\n"
    assert "silver by zinc" in run("batch", "procedure", "1", "chloride_zinc", "--reason", "no iron left").output
    ours = tmp_path / "ours.toml"
    ours.write_text('[[stage]]\nid = "a"\ntitle = "A"\ngate = {kind = "timed"}', encoding="utf-8")
    assert "ours.toml: stage a" in str(run("batch", "procedure", "1", str(ours), "--reason", "x").exception)
    assert "ours.toml: stage a" in str(run("batch", "new", "y", "--procedure", str(ours)).exception)
    assert run("batch", "list").output.count("\n") == 1  # a wrong file leaves no batch behind
    done = run("batch", "note", "1", "metal_check", "grains=no", "bubbles=no", "magnet=no")
    assert '"magnet": "no"' in done.output
    assert run("batch", "note", "1", "named_test", "name=chloride", "found=no", "wash=7").exit_code == 0


def test_the_plan_over_http(client):
    asked = {"chloride_g": "100 g", "moisture": "dry", "metal": "iron", "bottle": "31 %, 1.16 g/ml"}
    found = client.get("/api/plan/metal", params=asked).json()
    assert found["dose"]["metal_g"][1] == pytest.approx(25.71, abs=0.02)
    assert found["bought"][0]["unit"] == "mL"
    assert any("no flame" in text for text in found["cautions"])
    assert client.get("/api/plan/metal", params={**asked, "bottle": "?"}).status_code == 422
    assert client.get("/api/plan/lye", params={"chloride_g": "1", "sugar": "table sugar"}).status_code == 422


def test_a_batch_of_the_older_shape_is_moved_to_the_one_with_an_acid_rinse(client, batch):
    """Within the washes after the lye: it goes on there, and the stages of the rinse come next."""
    older = earlier_procedure("chloride_lye_sugar_1")
    assert _change(client, batch, text=older.text).status_code == 200
    client.post(f"/api/batches/{batch}/stage", json={"to": "lye-wash", "reason": "made up"})
    before = _bench(client, batch)
    assert (before["procedure_version"], before["next_stage"]["id"]) == (1, "dry")
    offered = next(p for p in client.get("/api/procedures").json() if p["title"] == before["procedure"])
    assert (offered["name"], offered["version"]) == ("chloride_lye_sugar", 2)
    now = _change(client, batch, procedure=offered["name"], reason="hard water: chalk in it").json()
    assert (now["procedure_version"], now["stage"]["id"], now["next_stage"]["id"]) == (2, "lye-wash", "acid-rinse")
    assert now["moves"][-1]["reason"] == "hard water: chalk in it"
