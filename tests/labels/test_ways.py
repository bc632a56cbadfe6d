"""Labels by the command and over HTTP."""

import io

import pypdfium2
import pytest

from service.bench.ledger.marks import vessel_mark
from service.cli import main
from tests.labels.test_sheet import codes_of
from tests.server.conftest import batch, client, data  # noqa: F401


def _codes(content):
    return set(codes_of(pypdfium2.PdfDocument(io.BytesIO(content))[0]))


def _call(*args):
    with pytest.raises(SystemExit) as stop:
        main(["batch", *args])
    return stop.value.code


def test_the_command_writes_a_sheet_and_says_where_its_codes_lead(tmp_path, capsys):
    log = ["--data", str(tmp_path / "log")]
    assert _call("new", "one", *log) == 0
    out = tmp_path / "labels.pdf"
    assert _call("labels", "1", "--out", str(out), "--address", "https://bench.local:8443/", *log) == 0
    assert _codes(out.read_bytes()) >= {"https://bench.local:8443/#batch=1"}
    assert all(code.startswith("https://bench.local:8443/#") for code in _codes(out.read_bytes()))
    capsys.readouterr()
    assert _call("labels", "1", "--out", str(out), "--paper", "letter", *log) == 0
    assert "--address" in capsys.readouterr().err


def test_the_stock_vessel_of_all_batches_stands_on_the_sheet_of_each(tmp_path):
    log = ["--data", str(tmp_path / "log")]
    assert _call("new", "one", *log) == 0
    assert _call("new", "two", *log) == 0
    assert _call("note", "1", "poured", "what=washes", "litres=5", "ph=1.5", "metals=silver", *log) == 0
    assert _call("note", "2", "poured", "what=more", "litres=2", "ph=1.5", *log) == 0
    out = tmp_path / "labels.pdf"
    assert _call("labels", "2", "--out", str(out), *log) == 0
    text = " ".join(pypdfium2.PdfDocument(str(out))[0].get_textpage().get_text_range().split())
    assert "7 L; acid, as hydrochloric acid about 0.14" in text
    assert "Metals: silver" in text


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (["9"], "there is no batch 9"),
        (["1", "--address", "bench"], "--address: give the page's address"),
        (["1", "--out", "labels.html"], "ends in .pdf"),
    ],
)
def test_a_wrong_call_is_one_sentence_and_no_file(tmp_path, capsys, monkeypatch, args, words):
    monkeypatch.chdir(tmp_path)
    assert _call("new", "one", "--data", "log") == 0
    capsys.readouterr()
    assert _call("labels", *args, "--data", "log") == 2
    err = capsys.readouterr().err
    assert words in err
    assert err.count("\n") == 1
    assert list(tmp_path.glob("*.*")) == []


def test_over_http_the_codes_lead_to_where_it_was_asked(client, batch):  # noqa: F811
    answer = client.get(f"/api/batches/{batch}/labels.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    mark = client.get("/api/about").json()["log_mark"]
    named = f"http://testserver/#vessel={batch}.{mark}"
    own = {f"{named}.main", f"{named}.{vessel_mark('·papers')}", f"http://testserver/#vessel={mark}.stock"}
    assert _codes(answer.content) == {f"http://testserver/#batch={batch}", *own}
    named = client.get(f"/api/batches/{batch}/labels.pdf", params={"address": "http://bench.local:8000"})
    assert all(code.startswith("http://bench.local:8000/#") for code in _codes(named.content))
    wrong = client.get(f"/api/batches/{batch}/labels.pdf", params={"address": "bench"})
    assert wrong.status_code == 422
    assert "page's address" in wrong.json()["detail"]
    assert client.get("/api/batches/999/labels.pdf").status_code == 404
    assert client.get(f"/api/batches/{batch}/labels.pdf", params={"paper": "a3"}).status_code == 422
