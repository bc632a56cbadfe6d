"""The one list of a batch in a real browser: written down, asked, answered, corrected, withdrawn, put back."""

import os
import time

import pytest
from selenium.webdriver.common.by import By

from tests.page.phone import Phone
from tests.server.calls import HTTP

pytestmark = pytest.mark.slow  # a real browser


@pytest.fixture
def phone(browser, server, batch, tmp_path):
    return Phone(browser, server.url, tmp_path).open()


def _save(phone, **values):
    dialog = phone.by_id("dialog")
    phone.until(dialog.is_displayed)
    phone.fill(dialog, **values)
    dialog.find_element(By.CSS_SELECTOR, "button.main").click()
    phone.until(lambda: not dialog.is_displayed() or phone.by_id("dialog-trouble").text)
    assert phone.by_id("dialog-trouble").text == ""


def _log(phone):
    return phone.by_id("log").text


def _picture(browser, name):
    """To be looked at: TIMELINE_PICTURES names a folder."""
    folder = os.environ.get("TIMELINE_PICTURES")
    if folder:
        browser.save_screenshot(f"{folder}/{name}.png")


def test_a_weight_stays_in_view_and_a_second_one_is_asked_about(phone, browser):
    assert phone.write_down("weight", grams="100", moisture="0", moisture_to="0") == ""
    phone.until(lambda: "Weight: chloride: 100 g" in _log(phone))
    assert "✓ Saved" in _log(phone)
    assert "Silver expected: 75.3 g" in _log(phone)
    assert phone.write_down("weight", grams="5", moisture="0", moisture_to="0", who="M.") == ""
    phone.until(lambda: "It waits for your answer" in _log(phone))
    assert "does 5 g replace it, or is it another lot" in _log(phone)
    assert "Silver expected: 75.3 g" in _log(phone)  # nothing is set silently
    _picture(browser, "asked-weight")
    phone.press("timeline", "Another lot")
    _save(phone)
    phone.until(lambda: "Silver expected: 79.0 g" in _log(phone))
    assert "Answered" in browser.find_element(By.CSS_SELECTOR, "#timeline details").get_attribute("textContent")
    assert "M." in _log(phone)


def test_a_note_is_corrected_withdrawn_and_put_back_where_it_stands(phone, browser):
    assert phone.write_down("weight", grams="41.2", moisture="0", moisture_to="0") == ""
    phone.until(lambda: "41.2 g" in _log(phone))
    phone.press("timeline", "Correct")
    _save(phone, grams="412", why="a digit left out", by="A.")
    phone.until(lambda: "chloride: 412 g" in _log(phone))
    browser.find_element(By.CSS_SELECTOR, "#timeline li.note summary").click()
    assert "by A.: a digit left out" in _log(phone)
    assert "Before: chloride: 41.2 g" in _log(phone)
    _picture(browser, "history")
    phone.press("timeline", "Withdraw")
    _save(phone, why="wrong batch")
    phone.until(lambda: "it counts no longer" in _log(phone))
    assert "412 g" in _log(phone)  # still there to be seen
    assert "Silver expected" not in _log(phone)
    phone.press("timeline", "Put back")
    _save(phone, why="it was right")
    phone.until(lambda: "Silver expected: 310 g" in _log(phone))
    phone.press("timeline", "Undo correction")
    _save(phone, why="it was 41.2 after all")
    phone.until(lambda: "Silver expected: 31.0 g" in _log(phone))


def test_a_photo_that_does_not_fit_is_asked_about_where_it_is_shown(phone, batch, browser):
    assert phone.by_id("wash").get_attribute("value") == "1"  # it proposes itself
    phone.snap("ph=5.00", wash=3)
    phone.wait_for_entries(batch, 1)
    phone.snap("ph=10.10", wash=3)
    phone.wait_for_entries(batch, 2)
    words = "pH 10.1 after 5.0 in one wash (wash 3): another vessel? wrong wash?"
    phone.until(lambda: words in phone.answer())
    assert "One entry waits for your answer" in _log(phone)
    assert "does not count yet" in _log(phone)
    _picture(browser, "asked-photo")
    phone.press("answer", "Another vessel")
    _save(phone)
    phone.until(lambda: "waits for your answer" not in _log(phone))
    phone.until(lambda: "withdrawn: it counts no longer" in _log(phone))
    phone.press("timeline", "Put back")
    _save(phone, why="it was this vessel")
    phone.until(lambda: words in _log(phone))  # and asked about again
    phone.press("timeline", "Another wash number")
    _save(phone, wash=8)
    phone.until(lambda: "wash 8 ·" in _log(phone) and words not in _log(phone))
    assert phone.write_down("decant", name="wash 3", litres="1") == ""
    phone.until(lambda: phone.by_id("wash").get_attribute("value") == "4")


def test_an_answer_that_comes_late_takes_no_newer_ones_place(phone, browser, server, batch):
    assert phone.write_down("decant", name="wash 1", litres="2") == ""
    phone.until(lambda: "wash 1" in _log(phone))
    browser.execute_script("""
        const now = window.fetch;
        window.late = 0;
        window.fetch = async (path, ...rest) => {
          const answer = await now(path, ...rest);
          if (String(path).includes("/timeline") && !window.late++) await new Promise((done) => setTimeout(done, 1500));
          return answer;
        };
        dispatchEvent(new Event("online"));
    """)
    phone.until(lambda: browser.execute_script("return window.late"))  # the older answer is on its way
    note = {"kind": "decant", "data": {"name": "wash 2", "litres": 1}}
    assert HTTP.post(f"{server.url}/api/batches/{batch}/notes", json=note).status_code == 201
    browser.execute_script('dispatchEvent(new Event("online"))')
    phone.until(lambda: "wash 2" in _log(phone))
    time.sleep(2)  # the late one is there, too
    assert "wash 2" in _log(phone)
