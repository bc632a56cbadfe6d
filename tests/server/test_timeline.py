"""One timeline over HTTP: what is asked does not count until answered; all is put right, undone, keeps its history."""

import pytest

from tests.server.conftest import a_photo


@pytest.fixture
def shown(client, batch):
    def showing():
        return client.get(f"/api/batches/{batch}/timeline").json()

    return showing


@pytest.fixture
def note(client, batch):
    def noting(kind, key=None, **data):
        more = {name: data.pop(name) for name in ("who", "keep") if name in data}
        headers = {"Idempotency-Key": key} if key else {}
        return client.post(f"/api/batches/{batch}/notes", json={"kind": kind, "data": data, **more}, headers=headers)

    return noting


@pytest.fixture
def put_right(client, batch):
    """Correct a note."""

    def putting(number, key=None, **body):
        headers = {"Idempotency-Key": key} if key else {}
        where = f"/api/batches/{batch}/notes/{number}/corrections"
        return client.post(where, json={"why": "it was wrong", **body}, headers=headers)

    return putting


def _correct(client, entry, key=None, **body):
    headers = {"Idempotency-Key": key} if key else {}
    return client.post(f"/api/readings/{entry}/corrections", json={"why": "looked again", **body}, headers=headers)


DRY = {"of": "chloride", "moisture": [0.0, 0.0]}


def test_all_stands_in_one_list_newest_first(send, note, shown):
    note("weight", grams=100, who="M.", **DRY)
    send(a_photo("ph=1.50"), wash=1, who="M.")
    note("decant", name="wash 1", litres="1 l")
    found = shown()
    assert [(item["source"], item["kind"]) for item in found["entries"]] == [
        ("note", "decant"),
        ("reading", "ph"),
        ("note", "weight"),
        ("batch", "opened"),
    ]
    assert [item["who"] for item in found["entries"]] == [None, "M.", "M.", None]
    assert found["balance"]["expected_g"][1] == pytest.approx(75.26, abs=0.01)
    assert (found["next_wash"], found["waiting"], found["total"]) == (2, 0, 4)
    assert found["forecast"]["status"] == "cannot tell"


def test_another_ph_in_one_wash_is_asked_about_and_counts_once_it_is_answered(client, send, shown, batch):
    send(a_photo("ph=5.00"), wash=3)
    entry = send(a_photo("ph=10.10"), wash=3).json()
    (asked,) = entry["log"]["asked"]
    assert asked["sentence"] == "pH 10.1 after 5.0 in one wash (wash 3): another vessel? wrong wash?"
    assert [choice["do"] for choice in asked["choices"]] == ["wash", "wash", "confirm", "withdraw"]
    found = shown()
    assert (found["entries"][0]["standing"], found["waiting"]) == ("asked", 1)
    answered = _correct(client, entry["log"]["id"], confirm=True)
    assert answered.status_code == 201
    assert answered.json()["log"]["asked"] == []
    first = shown()["entries"][0]
    assert (first["standing"], [change["what"] for change in first["history"]]) == ("counts", ["answered"])
    send(a_photo("ph=5.40"), wash=4)
    assert "lye among acid" in client.get(f"/api/batches/{batch}/forecast").json()["message"]  # it counts, and is seen


def test_what_waits_for_an_answer_opens_no_gate_and_an_open_gate_does_not_open_over_it(client, send, batch):
    where = f"/api/batches/{batch}"
    client.post(f"{where}/stage", json={"to": "neutral-wash", "reason": "made up"})
    client.patch(where, json={"water": {"water": "tap", "alkalinity_mmol_l": 2.0}})
    send(a_photo("ph=3.50"), wash=1)
    send(a_photo("ph=6.90/0.1"), wash=2)
    send(a_photo("ph=7.00/0.1"), wash=3)
    open_now = client.get(f"{where}/bench").json()["gate"]
    asked = send(a_photo("ph=3.00"), wash=3).json()["log"]
    assert asked["asked"]
    gate = client.get(f"{where}/bench").json()["gate"]
    assert open_now["state"] == "open", open_now
    assert gate["state"] == "cannot tell"
    assert f"reading {asked['id']} waits for an answer" in gate["sentence"]
    _correct(client, asked["id"], withdraw=True)
    assert client.get(f"{where}/bench").json()["gate"] == open_now


def test_a_jump_and_a_wrong_kind_are_asked_about_and_a_right_wash_answers(client, send):
    send(a_photo("ph=1.50"), wash=1)
    send(a_photo("ph=2.50"), wash=2)
    jump = send(a_photo("ph=1.00"), wash=3).json()["log"]
    assert [q["code"] for q in jump["asked"]] == ["jump"]
    assert "pH 1.0 in wash 3 after 2.5 in wash 2: another vessel? wrong wash?" in jump["asked"][0]["sentence"]
    again = _correct(client, jump["id"], wash=2).json()["log"]
    assert [q["code"] for q in again["asked"]] == ["same_wash"]  # a number that does not fit is asked about again
    solid = send(a_photo("pale=0.01"), kind="solid").json()["log"]
    assert [q["code"] for q in solid["asked"]] == ["wrong_kind"]
    assert send(a_photo("ph=3.40"), wash=3).json()["log"]["asked"] == []


def test_a_wash_that_was_poured_off_is_asked_about(send, note):
    send(a_photo("ph=1.50"), wash=1)
    note("decant", name="wash 1", litres="1 l")
    asked = send(a_photo("ph=1.60"), wash=1).json()["log"]["asked"]
    assert [(q["code"], q["choices"][0]["wash"]) for q in asked] == [("poured_off", 2)]
    assert send(a_photo("ph=1.60"), wash=1, confirm="true").json()["log"]["asked"] == []


def test_a_weight_that_waits_is_kept_and_counts_once_it_is_answered(note, shown, put_right):
    first = note("weight", grams=100, **DRY).json()["id"]
    refused = note("weight", grams=50, **DRY)
    assert (refused.status_code, refused.json()["code"]) == (422, "asked")
    kept = note("weight", grams=50, keep=True, **DRY).json()
    assert kept["asked"]["code"] == "second_weight"
    found = shown()
    assert found["balance"]["expected_g"][1] == pytest.approx(75.26, abs=0.01)
    assert (found["entries"][0]["standing"], found["waiting"]) == ("asked", 1)
    answer = kept["asked"]["choices"][1]["data"]
    assert answer == {"again": "replaces", "replaces": first}
    assert put_right(kept["id"], data=answer).status_code == 201
    found = shown()
    assert found["balance"]["expected_g"][1] == pytest.approx(37.63, abs=0.01)
    assert [change["what"] for change in found["entries"][0]["history"]] == ["answered"]
    third = note("weight", grams=30, keep=True, **DRY).json()["id"]
    assert put_right(third, answer=True, by="M.").status_code == 201
    assert shown()["balance"]["expected_g"][1] == pytest.approx(60.21, abs=0.01)


def test_a_note_is_corrected_withdrawn_put_back_and_undone_where_it_stands(note, shown, put_right):
    number = note("weight", grams=41.2, **DRY).json()["id"]
    assert put_right(number, data={"grams": 412}, by="A.", why="a digit left out").status_code == 201
    (item,) = [one for one in shown()["entries"] if one["kind"] == "weight"]
    assert (item["number"], item["data"]["grams"], item["actions"]) == (number, 412.0, ["correct", "withdraw", "undo"])
    assert [(c["who"], c["why"]) for c in item["history"]] == [("A.", "a digit left out")]
    assert "41.2" in item["history"][0]["before"]
    put_right(number, withdraw=True)
    (item,) = [one for one in shown()["entries"] if one["kind"] == "weight"]
    assert (item["standing"], item["actions"], shown()["balance"]) == ("withdrawn", ["put_back"], None)
    put_right(number, undo=True)
    assert shown()["balance"]["expected_g"][1] == pytest.approx(310.1, abs=0.1)
    put_right(number, undo=True)  # the correction now
    assert shown()["balance"]["expected_g"][1] == pytest.approx(31.01, abs=0.01)
    (item,) = [one for one in shown()["entries"] if one["kind"] == "weight"]
    assert [c["what"] for c in item["history"]] == ["corrected", "withdrawn", "put back", "put back"]
    assert put_right(number, undo=True).status_code == 422  # nothing is left to take back
    assert put_right(number, data={"grams": 41.2}).status_code == 422  # nothing would change


def test_a_reading_is_withdrawn_and_put_back(client, send, shown):
    entry = send(a_photo("ph=2.00"), wash=1).json()["log"]["id"]
    moved = _correct(client, entry, wash=2).json()["log"]["id"]
    out = _correct(client, moved, withdraw=True).json()["log"]["id"]
    assert shown()["entries"][0]["actions"] == ["put_back"]
    back = _correct(client, out, undo=True).json()["log"]
    assert (back["wash"], back["withdrawn"], back["made_by"]) == (2, False, None)
    item = shown()["entries"][0]
    assert [c["what"] for c in item["history"]] == ["corrected", "withdrawn", "put back"]
    assert _correct(client, entry, undo=True).status_code == 409  # corrected already
    alone = send(a_photo("ph=2.10"), wash=2).json()["log"]["id"]
    assert _correct(client, alone, undo=True).status_code == 422


def test_every_action_sent_twice_with_its_key_is_done_once(client, send, note, put_right, shown):
    one, two = (note("weight", key="w1", grams=100, **DRY).json()["id"] for _ in range(2))
    assert one == two
    assert note("weight", key="w1", grams=101, **DRY).status_code == 422  # the key is another note's
    assert put_right(one, key="c1", data={"grams": 90}).json() == put_right(one, key="c1", data={"grams": 90}).json()
    assert put_right(one, key="u1", undo=True).json() == put_right(one, key="u1", undo=True).json()
    entry = send(a_photo("ph=2.00"), wash=1).json()["log"]["id"]
    answers = [_correct(client, entry, key="r1", wash=2) for _ in range(2)]
    assert [a.status_code for a in answers] == [201, 201]
    assert answers[0].json()["log"]["id"] == answers[1].json()["log"]["id"]
    assert _correct(client, entry, key="r1", wash=4).json()["code"] == "key_reused"
    assert shown()["total"] == 3


def test_the_list_comes_in_pieces_and_nothing_leaves_it(note, shown, client, batch):
    numbers = [note("used", what=f"lye {k}", grams=k + 1).json()["id"] for k in range(5)]
    page = client.get(f"/api/batches/{batch}/timeline", params={"limit": 2, "skip": 1}).json()
    assert [item["number"] for item in page["entries"]] == [numbers[3], numbers[2]]
    assert page["total"] == 6


def test_the_report_says_what_was_not_answered(client, batch, note, send):
    note("weight", grams=100, **DRY)
    note("weight", grams=50, keep=True, **DRY)
    send(a_photo("pale=0.01"), kind="solid")
    text = client.get(f"/api/batches/{batch}/report.html").text
    assert text.count("(asked about and not answered: it does not count)") == 1
    assert text.count("Asked about and not answered: it does not count.") == 1
