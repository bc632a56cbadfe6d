"""What is said of a strip on the page: its kind, when it was dipped, how warm; and a log too long to draw at once."""

import httpx2 as httpx
import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select

from stripread.errors import CallError
from stripread.ph.buffers import buffer_names, liquid_of
from tests.page.phone import Phone, fits
from tests.page.test_page import NAMELESS, READABLE, SMALL, complaints
from tests.server.calls import HTTP
from tests.server.conftest import a_photo
from tests.server.running import Running

pytestmark = pytest.mark.slow  # a real browser


@pytest.fixture
def server(tmp_path):
    acid = tmp_path / "acid.toml"
    acid.write_text('name = "acid 0-3"\n[kind]\nread_after_s = [4, 120]\n', encoding="utf-8")
    with Running(tmp_path, more_profiles=acid) as running:
        yield running


@pytest.fixture
def phone(browser, server, batch, tmp_path):
    complaints(browser)
    return Phone(browser, server.url, tmp_path).open()


def test_the_kind_of_strip_is_chosen_and_kept_for_the_batch(phone, server, batch):
    other = HTTP.post(f"{server.url}/api/batches", json={"name": "another"}).json()["id"]
    phone.open()
    Select(phone.by_id("batch")).select_by_value(str(batch))
    phone.until(lambda: phone.by_id("profile").is_displayed())
    Select(phone.by_id("profile")).select_by_value("acid 0-3")
    phone.snap("ph=1.00", wash=1)
    phone.wait_for_entries(batch, 1)
    phone.open()
    assert phone.by_id("profile").get_attribute("value") == "acid 0-3"
    phone.snap("ph=1.50", wash=2)
    phone.wait_for_entries(batch, 2)
    Select(phone.by_id("batch")).select_by_value(str(other))
    phone.until(lambda: phone.by_id("profile").get_attribute("value") == "fake")
    phone.snap("ph=6.00")
    phone.wait_for_entries(other, 1)
    assert [e["profile"] for e in phone.entries(batch)] == ["acid 0-3", "acid 0-3"]
    assert phone.entries(other)[0]["profile"] == "fake"


LIQUIDS = (
    "water",
    "rinse water",
    "7",
    "7.00",
    "pH 4,01",
    "14.0",
    "14.5",
    "15",
    "phosphate 22 C",
    "Borax 18.5",
    "carbonate 5 °C",
    "phosphate",
    "vinegar 20 C",
    "7.0.1",
    "-1",
    "phosphate22",
)
CLICK = """const event = new MouseEvent("click", {cancelable: true, bubbles: true});
document.getElementById("camera").dispatchEvent(event);
return event.defaultPrevented"""


def readable(liquid):
    try:
        liquid_of(liquid)
    except CallError:
        return False
    return True


def test_a_liquid_that_nobody_can_read_is_asked_for_before_the_photo(phone, browser):
    box = phone.by_id("beside")
    for liquid in (*LIQUIDS, *(f"{name} 25 C" for name in buffer_names())):
        taken = browser.execute_script(f"arguments[0].value = arguments[1]; {CLICK}", box, liquid)
        assert taken is not readable(liquid), liquid
    assert "beside phosphate22?" in phone.by_id("more").get_attribute("textContent")
    assert box.is_displayed()
    browser.execute_script("arguments[0].value = ''", box)
    assert browser.execute_script(CLICK) is False


def test_the_clock_of_a_dip_and_what_goes_with_the_photo(phone, batch, browser):
    Select(phone.by_id("profile")).select_by_value("acid 0-3")
    phone.by_id("dip").click()
    phone.until(lambda: "wait until 4 s" in phone.by_id("dip").text)
    phone.until(lambda: "photo now, to 120 s" in phone.by_id("dip").text)
    phone.by_id("more").click()
    phone.by_id("temperature").send_keys("45.5")
    phone.by_id("rinse").click()
    phone.by_id("beside").send_keys("water")
    assert phone.by_id("more").text == "45.5 °C, rinse, beside water"
    assert phone.by_id("more").get_attribute("aria-expanded") == "true"
    for check in (READABLE, SMALL, NAMELESS):
        assert browser.execute_script(check) == []
    assert fits(browser)
    phone.snap("ph=1.00", wash=1)
    phone.wait_for_entries(batch, 1)
    said = phone.entries(batch)[0]["log"]["said"]
    assert (said["temperature_c"], said["rinse"], said["beside"]) == (45.5, True, "water")
    passed = browser.execute_script(
        "return (new Date(arguments[0].slice(0, 19)) - new Date(arguments[1])) / 1000",
        said["snapped_at"],
        said["dipped_at"],
    )  # both by the phone's own clock, one with its zone
    assert 4 <= passed < 120
    phone.until(lambda: "Dipped now" in phone.by_id("dip").text)  # the next strip has a dip of its own
    assert phone.by_id("more").text == "rinse"
    assert "Sample at 45.5 °C" in phone.answer()
    phone.snap("ph=2.00", wash=2)
    phone.wait_for_entries(batch, 2)
    assert phone.entries(batch)[1]["log"]["said"].keys() == {"rinse", "snapped_at"}
    assert complaints(browser) == []


def test_a_temperature_that_is_none_is_shown_and_not_sent(phone, batch):
    phone.by_id("more").click()
    phone.by_id("temperature").send_keys("450")
    assert phone.by_id("more").text == "°C?"
    phone.snap("ph=1.00", wash=1)
    phone.wait_for_entries(batch, 1)
    assert phone.entries(batch)[0]["log"]["said"] == {}


def test_the_rinse_waters_own_reading_goes_along(phone, server, batch):
    phone.snap("ph=6.50")
    phone.wait_for_entries(batch, 1)
    water = phone.entries(batch)[0]["log"]["id"]
    HTTP.patch(f"{server.url}/api/batches/{batch}", json={"water": {"blank_entry": water}})
    phone.open()
    phone.by_id("more").click()
    phone.until(lambda: f"compare with entry {water}" in phone.by_id("strip-more").text)
    phone.by_id("rinse").click()
    phone.snap("ph=5.00", wash=1)
    phone.wait_for_entries(batch, 2)
    assert phone.entries(batch)[1]["log"]["blank_entry"] == water


def test_a_long_log_is_drawn_from_its_newest_entries(phone, server, batch, browser):
    with httpx.Client(base_url=server.url, timeout=60) as client:
        for n in range(4):
            photo = {"photo": (f"{n}.jpg", a_photo())}
            client.post(f"/api/batches/{batch}/readings", files=photo, data={"wash": str(n)})
        for n in range(29):
            client.post(f"/api/batches/{batch}/notes", json={"kind": "used", "data": {"what": f"salt {n}", "grams": 1}})
    phone.open()
    lines = lambda: browser.find_elements(By.CSS_SELECTOR, "#timeline > li")  # noqa: E731
    phone.until(lambda: len(lines()) == 30)
    assert phone.by_id("plot").get_attribute("data-points") == "4"  # of those that the list does not show, too
    assert "salt 28" in lines()[0].text
    phone.press("log", "Show older (4 more)")
    phone.until(lambda: len(lines()) == 34)  # and the batch's start
    assert not phone.by_id("older").is_displayed()
