"""A photo of a label picks its vessel, or one sentence says why not; rendered photos, the sheet as it is printed."""

import io

import numpy as np
import pypdfium2
import pytest
import segno
from fastapi.testclient import TestClient
from PIL import Image

from service.bench.ledger.marks import vessel_mark
from service.log.course.labelled import labelled_in
from service.readers.labels.codes import codes_in
from service.web.app import create_app
from stripread.errors import Refused
from tests.labels.photos import View, as_jpeg, label_of, photo_of
from tests.labels.test_sheet import LOG, ROOT, sheet_page
from tests.server.conftest import settings_in


@pytest.fixture(scope="module")
def label():
    return label_of(sheet_page(), 0, 0)


USUAL = [View(5, 0.3, 35.0, 100.0, 1.0, 1), View(8, 0.25, 20.0, -35.0, 1.5, 2), View(12, 0.2, 30.0, 170.0, 2.0, 3)]


@pytest.mark.parametrize("view", USUAL)
def test_a_benchs_usual_photo_names_its_vessel(label, view):
    found = codes_in(as_jpeg(photo_of(label, view)))
    assert [code["text"] for code in found] == [f"{ROOT}/#vessel=7.{LOG}.main"]


def test_no_code_and_no_picture():
    bench = np.random.default_rng(1).integers(90, 150, (600, 800, 3), dtype=np.uint8)
    assert codes_in(as_jpeg(bench)) == []
    with pytest.raises(Refused):
        codes_in(b"no picture at all")


def _code(*texts, scale=6):
    """A picture of codes beside each other, the first one largest."""
    codes = []
    for place, text in enumerate(texts):
        out = io.BytesIO()
        segno.make(text, error="m", micro=False).save(out, kind="png", scale=scale if place == 0 else scale - 1)
        codes.append(Image.open(io.BytesIO(out.getvalue())).convert("RGB"))
    picture = Image.new(
        "RGB", (sum(one.width + 40 for one in codes), max(one.height for one in codes) + 80), (160,) * 3
    )
    left = 20
    for one in codes:
        picture.paste(one, (left, 40))
        left += one.width + 40
    out = io.BytesIO()
    picture.save(out, "PNG")
    return out.getvalue()


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    folder = tmp_path_factory.mktemp("labels")
    with TestClient(create_app(settings_in(folder))) as made:
        yield made


@pytest.fixture(scope="module")
def batch(bench):
    number = bench.post("/api/batches", json={"name": "Chloride of July"}).json()["id"]
    write(bench, number, "named_vessel", vessel="Blue bucket", what_for="buffer")
    return number


def write(bench, batch, kind, **data):
    made = bench.post(f"/api/batches/{batch}/notes", json={"kind": kind, "data": data})
    assert made.status_code == 201, made.text
    return made.json()["id"]


def _sent(bench, picture):
    made = bench.post("/api/labels/read", files={"photo": ("label.png", picture, "image/png")})
    assert made.status_code == 200, made.text
    return made.json()


def test_a_photo_of_the_batchs_own_sheet_names_its_vessels(bench, batch):
    sheet = bench.get(f"/api/batches/{batch}/labels.pdf").content
    page = pypdfium2.PdfDocument(io.BytesIO(sheet))[0]
    bucket = next(row * 2 + column for row in (0, 1) for column in (0, 1) if "~" in _text(page, row, column))
    seen = _sent(bench, as_jpeg(photo_of(label_of(page, *divmod(bucket, 2)), View(5, 0.4, 15.0, 20.0, 0.8, 4))))
    assert (seen["found"], seen["batch"], seen["key"], seen["name"]) == ("vessel", batch, "blue bucket", "Blue bucket")


def _text(page, row, column):
    codes = codes_in(as_jpeg(np.repeat(label_of(page, row, column)[..., None], 3, axis=2)))
    return codes[0]["text"] if codes else ""


def test_what_a_code_names_and_why_it_names_nothing(bench, batch):
    log = bench.get("/api/about").json()["log_mark"]
    root = "http://elsewhere:8000/"  # the bench computer may have got another address since
    main = _sent(bench, _code(f"{root}#vessel={batch}.{log}.main"))
    assert (main["found"], main["key"], main["name"]) == ("vessel", "main", "the batch's vessel")
    stock = _sent(bench, _code(f"{root}#vessel={log}.stock"))
    assert (stock["found"], stock["batch"], stock["key"]) == ("vessel", None, "stock")
    old = _sent(bench, _code(f"{root}#batch={batch}"))
    assert (old["found"], old["batch"], old["batch_name"]) == ("batch", batch, "Chloride of July")
    other = "aaaa" if log != "aaaa" else "bbbb"
    for picture, words in (
        (_code(f"{root}#vessel={batch}.{other}.main"), "another log"),
        (_code(f"{root}#vessel=99.{log}.main"), "There is no batch 99"),
        (_code(f"{root}#vessel={batch}.{log}.nothere"), "not in batch"),
        (_code(f"{root}#join=secret"), "not of a label"),
        (_code("https://example.org/"), "not of a label"),
        (_code(f"{root}#vessel={batch}.{log}.main", f"{root}#vessel={log}.stock"), "Several labels"),
        (_code(" ", scale=1)[:60], ""),
    ):
        said = _sent(bench, picture)
        assert said["found"] == "none"
        assert words in said["sentence"]
        assert said["sentence"]
    blank = io.BytesIO()
    Image.new("RGB", (640, 480), (150, 150, 150)).save(blank, "JPEG")
    assert "No code was seen" in _sent(bench, blank.getvalue())["sentence"]


def test_a_small_code_beside_a_large_one_is_not_asked_about(bench, batch):
    log = bench.get("/api/about").json()["log_mark"]
    near, far = f"http://a/#vessel={batch}.{log}.main", f"http://a/#vessel={log}.stock"
    assert labelled_pair(bench, near, 100.0, far, 60.0).key == "main"
    assert labelled_pair(bench, near, 100.0, far, 80.0).found == "none"
    assert labelled_pair(bench, near, 100.0, "http://other/", 90.0).key == "main"
    assert labelled_pair(bench, near, 100.0, near, 90.0).key == "main"


def labelled_pair(bench, first, large, second, small):
    service = bench.app.state.service
    with service.database.read() as c:
        return labelled_in(c, [(first, large), (second, small)])


def test_the_parts_of_an_address_are_looked_up_and_a_withdrawn_vessel_is_told(bench, batch):
    log = bench.get("/api/about").json()["log_mark"]
    pot = write(bench, batch, "named_vessel", vessel="Pot 7", what_for="other")
    asked = {"batch": batch, "log": log, "vessel": vessel_mark("pot 7")}
    found = bench.get("/api/labels/named", params=asked).json()
    assert (found["found"], found["key"], found["sentence"]) == ("vessel", "pot 7", "")
    assert bench.get(f"/api/batches/{batch}/vessels").json()["vessels"][-1]["mark"] == vessel_mark("pot 7")
    write(bench, batch, "strike", note=pot, why="no such pot")
    gone = bench.get("/api/labels/named", params=asked).json()
    assert gone["found"] == "none"
    assert "not in batch" in gone["sentence"]
    assert bench.get("/api/labels/named", params={**asked, "log": "x"}).status_code == 422


def test_nothing_of_a_photo_is_kept_and_a_large_body_is_refused(tmp_path):
    with TestClient(create_app(settings_in(tmp_path, max_body=200_000))) as made:
        assert len(made.get("/api/about").json()["log_mark"]) == 4
        assert "another log" in _sent(made, _code("http://a/#vessel=1.abcd.main"))["sentence"]
        assert not [one for one in (tmp_path / "data").rglob("*") if one.is_file() and "incoming" in one.parts]
        noise = as_jpeg(np.random.default_rng(1).integers(0, 255, (700, 700, 3), dtype=np.uint8), 98)
        large = made.post("/api/labels/read", files={"photo": ("a.jpg", noise, "image/jpeg")})
        assert large.status_code == 413
