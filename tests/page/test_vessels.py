"""Where the silver is, and silver back from the stock vessel, in a real browser of a phone's size."""

import os

import pytest
from selenium.webdriver.common.by import By

from tests.page.phone import Phone, fits
from tests.page.screens import speak
from tests.page.test_page import NAMELESS, READABLE, SMALL, complaints
from tests.server.calls import HTTP

pytestmark = pytest.mark.slow  # a real browser
NARROW = {"width": 360, "height": 780}
BROKEN = """
const found = [];
for (const cell of document.querySelectorAll("#vessels :is(th, td)")) {
  const walk = document.createTreeWalker(cell, NodeFilter.SHOW_TEXT);
  for (let node; (node = walk.nextNode()); )
    for (const word of node.data.matchAll(/[\\p{L}\\d.,]+/gu)) {
      const range = document.createRange();
      range.setStart(node, word.index);
      range.setEnd(node, word.index + word[0].length);
      if (range.getClientRects().length > 1) found.push(word[0]);
    }
}
return found;
"""  # words and numbers of its tables that go on in the next line


@pytest.fixture
def phone(browser, server, batch, tmp_path):
    complaints(browser)  # what the pages before this one complained of is not ours
    return Phone(browser, server.url, tmp_path).open()


def _write(server, batch, kind, **data):
    made = HTTP.post(f"{server.url}/api/batches/{batch}/notes", json={"kind": kind, "data": data})
    assert made.status_code == 201, made.text


def _open(browser, box):
    browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", box)  # the bar below covers the rest
    box.find_element(By.TAG_NAME, "summary").click()


def _fits(browser):
    for check in (READABLE, SMALL, NAMELESS):
        assert browser.execute_script(check) == []
    assert fits(browser)


def test_where_the_silver_is(phone, batch, server, browser):
    _write(server, batch, "weight", of="chloride", grams=100, moisture=[0, 0.01], scale_g=0.1)
    _write(server, batch, "named_vessel", vessel="Blue bucket", what_for="buffer")
    _write(server, batch, "decant", name="wash 1", litres=1, looks="cloudy", chloride=0.1, into="Blue bucket")
    box = phone.by_id("vessels")
    _open(browser, box)
    phone.until(lambda: "Blue bucket" in box.text)
    for words in ("catches fines that go back", "Where some may be, largest first", "rests on the notes alone"):
        assert words in box.text
    # What is written down while it is open is in it at once.
    assert phone.write_down("spilled", vessel="Blue bucket", share="40", share_to="60") == ""
    phone.until(lambda: "spilt" in box.text)
    _fits(browser)
    speak(phone, "de")
    browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {**NARROW, "deviceScaleFactor": 2, "mobile": True})
    box = phone.by_id("vessels")
    _open(browser, box)
    phone.until(lambda: "fängt Feines auf" in box.text)
    assert browser.execute_script(BROKEN) == []
    assert {len(row.find_elements(By.CSS_SELECTOR, "th, td")) for row in box.find_elements(By.TAG_NAME, "tr")} == {2}
    speak(phone, "en")
    browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})
    box = phone.by_id("vessels")
    if os.environ.get("SHOTS"):
        browser.execute_script("arguments[0].scrollIntoView()", box)
        browser.save_screenshot(os.environ["SHOTS"] + "/vessels.png")
    calc = phone.by_id("plan-silver")
    _open(browser, calc)
    phone.until(lambda: calc.find_elements(By.NAME, "silver_mg_l"))
    phone.fill(calc, litres="10", silver_mg_l="100")
    phone.press("plan-silver", "Work it out")
    said = calc.find_element(By.CLASS_NAME, "worked")
    phone.until(lambda: "Table salt" in said.text)
    assert "6.39" in said.text  # by hand: (1 / 107.87 + 0.1) mol of 58.44 g/mol
    assert "drop of salt water stays clear" in said.text
    assert "chloro complexes" in said.text
    _fits(browser)
    if os.environ.get("SHOTS"):
        browser.execute_script("arguments[0].scrollIntoView()", calc)
        browser.save_screenshot(os.environ["SHOTS"] + "/silver.png")
    assert not complaints(browser)


def test_a_batch_of_the_older_shape_is_moved_to_the_later_one(phone, batch, server, browser):
    bench = lambda: HTTP.get(f"{server.url}/api/batches/{batch}/bench").json()  # noqa: E731
    assert bench()["procedure_version"] == 1  # nobody chose one, as when batches began so
    _open(browser, phone.by_id("stage").find_element(By.TAG_NAME, "details"))
    assert "there is version 2 by now" in phone.by_id("stage").text
    if os.environ.get("SHOTS"):
        browser.save_screenshot(os.environ["SHOTS"] + "/version.png")
    phone.press("stage", "Another procedure")
    dialog = phone.by_id("dialog")
    phone.until(lambda: dialog.find_elements(By.NAME, "procedure"))
    chosen = dialog.find_element(By.NAME, "procedure")
    assert chosen.get_attribute("value") == "chloride_lye_sugar"
    assert "version 2" in chosen.text
    phone.fill(dialog, reason="hard water", who="M.")
    dialog.find_element(By.CSS_SELECTOR, "button.main").click()
    phone.until(lambda: bench()["procedure_version"] == 2)
    assert bench()["moves"][-1]["reason"] == "hard water"
    phone.until(lambda: "by now" not in phone.by_id("stage").text)
    assert not complaints(browser)
