"""A service opened over a damaged log: all else is served whole, what is damaged is marked and can be repaired."""

from __future__ import annotations

import csv
import io

import pypdfium2
import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from service.commands.log import command as log_command
from service.commands.reread import command as reread_command
from service.web.app import create_app
from tests.log.conftest import BaseLog
from tests.log.test_tampering import as_owner
from tests.server.conftest import a_photo, settings_in


@pytest.fixture
def settings(tmp_path):
    """Settings of a bench whose log has one batch: strips of washes 5, 6 and 7, a weight."""
    settings = settings_in(tmp_path)
    with TestClient(create_app(settings)) as bench:
        bench.post("/api/batches", json={"name": "a batch"})
        for wash, ph in ((5, 6.4), (6, 6.6), (7, 6.7)):
            files = {"photo": (f"{wash}.jpg", a_photo(f"ph={ph}"), "image/jpeg")}
            bench.post("/api/batches/1/readings", files=files, data={"wash": wash})
        note = {"kind": "weight", "data": {"of": "chloride", "grams": 412.0, "moisture": [0.0, 0.0]}}
        assert bench.post("/api/batches/1/notes", json=note).status_code == 201
    return settings


def damaged(settings, *statements):
    """The same bench, started again after somebody's hand was in its database."""
    url = f"sqlite:///{settings.data / 'log.sqlite3'}"
    as_owner(BaseLog(settings.data, url, 0, ""), *statements)
    return TestClient(create_app(settings))


DAMAGES = ["extras = '{'", "reading = '[]'", "received_at = 'noon'"]


@pytest.mark.parametrize("damage", DAMAGES)
def test_no_answer_ends_half_way(settings, damage):
    with damaged(settings, f"UPDATE entries SET {damage} WHERE id = 2") as bench:
        listed = bench.get("/api/batches/1/readings")
        exported = bench.get("/api/batches/1/export.json")
        lines = bench.get("/api/batches/1/export.csv")
        page, paper = (bench.get(f"/api/batches/1/report.{form}") for form in ("html", "pdf"))
        others = [bench.get(f"/api/batches/1{path}") for path in ("", "/forecast", "/bench", "/notes")]
        one = bench.get("/api/readings/2")
    for answer in (listed, exported, lines, page, paper, one, *others):
        assert answer.status_code == 200, (answer.url, answer.text)
    for entries in (listed.json(), exported.json()["readings"]):
        assert [(e["log"]["id"], e["log"]["unreadable"]) for e in entries] == [(1, False), (2, True), (3, False)]
    assert one.json()["log"]["unreadable"]
    rows = list(csv.DictReader(io.StringIO(lines.text)))
    assert [row["reasons"] for row in rows] == ["", "unreadable_row", ""]
    assert page.text.rstrip().endswith("</html>")
    assert "Row 2 of the log is damaged" in page.text
    assert "Row 2 of the log is damaged" in _paper(paper.content)


def test_a_damaged_note_is_marked_in_the_list_and_in_the_reports(settings):
    with damaged(settings, "UPDATE events SET detail = '{' WHERE what = 'bench:weight'") as bench:
        (note,) = bench.get("/api/batches/1/notes").json()
        assert (note["kind"], note["data"], note["unreadable"]) == ("weight", {}, True)
        page, paper = (bench.get(f"/api/batches/1/report.{form}") for form in ("html", "pdf"))
        for text in (page.text, _paper(paper.content)):
            assert f"note {note['id']}" in text
            assert "strike it and write down again" in " ".join(text.split())
        strike = {"kind": "strike", "data": {"note": note["id"], "why": "its row is damaged"}}
        assert bench.post("/api/batches/1/notes", json=strike).status_code == 201
        assert "strike it and write down again" not in bench.get("/api/batches/1/report.html").text


def test_the_head_of_the_chain_stands_on_paper(settings):
    with TestClient(create_app(settings)) as bench:
        text = " ".join(_paper(bench.get("/api/batches/1/report.pdf").content).split())
    assert "Head of the log's chain: link " in text
    shown = text.partition('--head "')[2].partition('"')[0]
    assert len(shown.replace(" ", "")) >= 16
    for head, code in ((shown, 0), ("0" * 20, 1)):
        args = ["check", "--head", head, "--data", str(settings.data)]
        assert CliRunner().invoke(log_command, args, standalone_mode=False).return_value == code


def test_a_damaged_reading_is_repaired_from_its_photo(settings):
    with TestClient(create_app(settings)) as bench:
        gate = bench.get("/api/batches/1/bench").json()["gate"]
        before = bench.get("/api/batches/1/readings").json()[1]
    with damaged(settings, "UPDATE entries SET reading = 'x' WHERE id = 2") as bench:
        found = bench.post("/api/batches/1/reread?keep=true").json()
        assert [(c["entry"], c["new_entry"]) for c in found["changes"]] == [(2, 4)]
        entries = bench.get("/api/batches/1/readings").json()
        assert bench.get("/api/batches/1/bench").json()["gate"] == gate
    assert [e["log"]["unreadable"] for e in entries] == [False, True, False, False]
    new = entries[-1]
    assert new["log"]["corrects"] == 2
    assert (new["ph"], new["interval"], new["log"]["wash"]) == (before["ph"], before["interval"], 6)
    checked = CliRunner().invoke(log_command, ["check", "--data", str(settings.data)], standalone_mode=False)
    told = checked.output
    assert "entry 2" in told, "the damaged row stays a fault: nobody can undo that it was changed"
    assert "entry 4" not in told


def test_it_is_repaired_from_the_command_line_too(settings, monkeypatch):
    with damaged(settings, "UPDATE entries SET reading = 'x' WHERE id = 2"):
        pass
    monkeypatch.setattr("service.commands.reread.Settings", lambda *_: settings, raising=False)
    monkeypatch.setattr("service.settings.Settings", lambda *_: settings)
    args = ["1", "--keep", "--data", str(settings.data)]
    done = CliRunner().invoke(reread_command, args, standalone_mode=False)
    assert done.exception is None, done.output
    assert "entry 2 -> entry 4" in done.output


def _paper(pdf: bytes) -> str:
    pages = pypdfium2.PdfDocument(pdf)
    return "\n".join(page.get_textpage().get_text_range() for page in pages)
