"""What a notebook shows of a result: value, band, picture, budget and reasons; escaped, without script."""

import base64
import io
import re
from html.parser import HTMLParser
from pathlib import Path

import pytest
from PIL import Image

import stripread
from stripread.notebook import PICTURE_PX, scale_of
from stripread.states.table import state

DEMO = Path(__file__).resolve().parents[2] / "service" / "demo"
PROFILE = DEMO / "profile.toml"
STRIP, BLURRED = DEMO / "photos" / "05-wash-04.jpg", DEMO / "photos" / "03-wash-03-blurred.jpg"
TINT, SOLID = DEMO / "windows" / "tint-1-first-wash.jpg", DEMO / "windows" / "solid-1-early.jpg"
VOID = {"img", "br"}


class Page(HTMLParser):
    """Tags, attributes and words of a page; every tag that is opened must be closed in its order."""

    def __init__(self, html: str) -> None:
        super().__init__()
        self.tags: list[tuple[str, dict]] = []
        self.words = ""
        self.open: list[str] = []
        self.feed(html)
        self.close()
        assert not self.open

    def handle_starttag(self, tag, attrs):
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        self.words += data + " "


READ = {
    "ph": lambda **given: stripread.read_ph(STRIP, PROFILE, temperature_c=60, **given),
    "refused": lambda **given: stripread.read_ph(BLURRED, PROFILE, **given),
    "tint": lambda **given: stripread.read_tint(TINT, path_mm=20, **given),
    "tint without depth": lambda **given: stripread.read_tint(TINT, **given),
    "solid": lambda **given: stripread.read_solid(SOLID, **given),
    "combined": lambda **given: stripread.combine([STRIP, STRIP.with_name("04-wash-03.jpg")], PROFILE, **given),
}


@pytest.mark.parametrize("sort", list(READ))
def test_it_shows_value_band_reasons_and_picture(sort):
    result = READ[sort]()
    facts = result.to_dict()
    html = result._repr_html_()
    page = Page(html)
    assert state("reading", facts["status"]).text in page.words
    for reason in facts["reasons"]:
        assert reason["message"] in page.words
    pictures = [given["src"] for tag, given in page.tags if tag == "img"]
    assert len(pictures) == (0 if sort == "combined" else 1)
    for source in pictures:
        data = base64.b64decode(source.removeprefix("data:image/jpeg;base64,"), validate=True)
        assert Image.open(io.BytesIO(data)).width == PICTURE_PX
    assert len(html) < 300_000
    banded = "95 % interval" in page.words
    assert banded == (sort != "refused")
    causes = [
        cause.replace("_", " ")
        for cause, v in facts.get("budget", {}).items()
        if v > 0.01 * sum(facts["budget"].values())
    ]
    assert all(cause in page.words for cause in causes)
    assert bool(causes) == (facts["kind"] == "ph" and facts["ph"] is not None)


def test_the_band_lies_where_the_interval_does():
    result = READ["ph"]()
    low, high = result.to_dict()["interval"]
    left, width = map(float, re.search(r"left:([\d.]+)%;width:([\d.]+)%", result._repr_html_()).groups())
    assert left == pytest.approx(100 * low / 14, abs=0.01)
    assert left + width == pytest.approx(100 * high / 14, abs=0.01)


@pytest.mark.slow
def test_no_script_and_nothing_from_elsewhere():
    for read in READ.values():
        for tag, given in Page(read()._repr_html_()).tags:
            assert tag in {"div", "span", "b", "ul", "li", "table", "tr", "td", "img"}
            assert set(given) <= {"style", "src", "alt", "aria-hidden"}
            assert "url(" not in (given.get("style") or "")


@pytest.mark.slow
def test_a_name_that_is_a_script_stays_a_name():
    bad = '<script>alert("1")</script><img src=x onerror=alert(1)>.jpg'
    for read in (READ["ph"], READ["tint"], READ["solid"], READ["combined"]):
        page = Page(read(name=bad)._repr_html_())
        assert bad in page.words
        assert all(tag != "script" and "onerror" not in given for tag, given in page.tags)
    one = stripread.read_ph(STRIP, PROFILE, name=bad)
    assert bad in Page(one._repr_html_()).words


@pytest.mark.parametrize(
    ("value", "interval", "limit", "top"),
    [(62.6, [40.0, 99.2], 9.0, 100.0), (0.2, [0.0, 3.0], 9.0, 20.0), (0.0, [0.0, 0.0], 0.0, 1.0)],
)
def test_a_tint_s_range_starts_at_nothing_and_ends_on_a_round_number(value, interval, limit, top):
    scale = scale_of({"kind": "tint", "mg_per_l": value, "interval": interval, "detection_limit": limit})
    assert scale.range[0] <= 0.0
    assert scale.range[1] == top
