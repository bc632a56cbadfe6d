"""The page in a hand and on a desk, and its signals: sizes, places, contrast, and what a screen reader is told."""

import time

import pytest
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select
from selenium.webdriver.support.wait import WebDriverWait

from tests.page.phone import Phone, fits
from tests.page.test_page import READABLE, complaints
from tests.server.calls import HTTP
from tests.server.running import Running

pytestmark = pytest.mark.slow  # a real browser


@pytest.fixture
def sized(browser):
    """Set the size of the screen in CSS px, of a page that is open; the phone's again in the end."""

    def size(width, height):
        screen = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
        as_asked = "return innerHeight === arguments[0]"
        WebDriverWait(browser, 5, 0.05).until(lambda _: browser.execute_script(as_asked, height))

    yield size
    size(390, 844)


@pytest.fixture(scope="module")
def bench(browser, tmp_path_factory):
    """One service, a batch with four readings; a kind of strip that is read 4 to 120 s after the dip."""
    folder = tmp_path_factory.mktemp("desk")
    acid = folder / "acid.toml"
    acid.write_text('name = "acid 0-3"\n[kind]\nread_after_s = [4, 120]\n', encoding="utf-8")
    with Running(folder, more_profiles=acid) as server:
        batch = HTTP.post(f"{server.url}/api/batches", json={"name": "Chloride of 12 May"}).json()["id"]
        made = Phone(browser, server.url, folder).open()
        for wash, orders in ((1, "ph=1.20"), (2, "doubt=2.10"), (3, "refuse"), (4, "ph=3.20")):
            made.snap(orders, wash=wash)
            made.wait_for_entries(batch, wash)
        yield made, batch


@pytest.fixture
def phone(bench):
    return bench[0].open()


BOX = "return document.querySelector(arguments[0]).getBoundingClientRect().toJSON()"
SMALL_TEXT = """
const small = [];
const walk = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
while (walk.nextNode()) {
  const e = walk.currentNode.parentElement;
  if (!walk.currentNode.textContent.trim() || !e.checkVisibility() || e.closest(".unseen, script, style")) continue;
  const drawn = e.closest("svg");
  const scale = drawn ? drawn.getBoundingClientRect().width / drawn.viewBox.baseVal.width : 1;
  if (parseFloat(getComputedStyle(e).fontSize) * scale < 15.9) small.push(walk.currentNode.textContent.trim());
}
return small;
"""


def test_a_hand_a_desk_and_twice_enlarged(phone, sized, browser):
    box = lambda what: browser.execute_script(BOX, what)  # noqa: E731 - short for what is asked often
    for width, height, share in ((360, 640, 0.25), (390, 844, 0.25), (640, 360, 0.25), (1280, 800, 0.25)):
        sized(width, height)
        for guided in (True, False):  # a phone with a live picture has one button more
            browser.execute_script("document.querySelector('#guided').hidden = arguments[0]", not guided)
            bar = box("#bar")
            assert bar["height"] <= share * height, (width, height, guided)
        assert bar["bottom"] == pytest.approx(height, abs=1)  # also where the log goes on below
        assert fits(browser)
        assert browser.execute_script(SMALL_TEXT) == [], (width, height)
    answer, stage, course, log = (box(name) for name in ("#answer", "#stage", "#plot-section", "#log"))
    for one in (answer, stage):
        for other in (course, log):
            assert one["right"] < other["left"]
    assert course["right"] - answer["left"] > 1100
    assert answer["top"] < log["bottom"]
    strict = READABLE.replace("< 4.5", '< 7 && e.closest(".big, .range, .verdict, #timeline .value")')  # WCAG 1.4.6
    assert browser.execute_script(strict) == []


def test_how_it_was_read_is_a_page_of_words_beside_pictures(phone, sized, browser):
    sized(360, 640)
    browser.execute_script("location.hash = '#how-1'")
    phone.until(lambda: phone.by_id("how").is_displayed())
    phone.until(lambda: browser.execute_script("return document.querySelector('#how .picture img')?.naturalWidth > 0"))
    said = phone.by_id("how").text
    assert "pH 1.2" in said
    assert "between 0.90 and 1.50" in said
    assert "Pad 1: seen L" in said
    assert browser.execute_script("const h = document.querySelector('#how'); return h.scrollWidth <= h.clientWidth")
    assert browser.execute_script(SMALL_TEXT) == []
    press = phone.by_id("how").find_element(By.CSS_SELECTOR, ".picture")
    narrow = browser.execute_script("return document.querySelector('.picture img').clientWidth")
    browser.execute_script("arguments[0].scrollIntoView()", press)
    press.click()
    assert press.get_attribute("aria-pressed") == "true"
    assert browser.execute_script("return document.querySelector('.picture img').clientWidth") > 1.5 * narrow
    browser.back()  # as the phone's own key does
    phone.until(lambda: not phone.by_id("how").is_displayed())


LISTEN = """
window.heard = []; window.shaken = []; window.locks = [];
new MutationObserver(() => heard.push(document.getElementById("said").textContent))
  .observe(document.getElementById("said"), { childList: true, characterData: true, subtree: true });
navigator.vibrate = (pattern) => shaken.push(pattern);
Object.defineProperty(navigator, "wakeLock", { configurable: true, value: { request: async () => {
  const lock = new EventTarget();
  lock.release = async () => { locks.push("off"); lock.dispatchEvent(new Event("release")); };
  locks.push("on");
  return lock;
} } });
const Real = window.AudioContext;
window.AudioContext = class extends Real { constructor() { super(); window.sounded = true; } };
"""


def test_signals_of_the_clock_and_of_a_reading(phone, bench, browser):
    browser.execute_script(LISTEN)
    # The kind of strip's own times, and a dip that its time has nearly come for.
    dipped = "localStorage.setItem('dipped', JSON.stringify(Date.now() - arguments[0] * 1000))"
    phone.by_id("wash-more").click()  # a page may shake only after a touch
    Select(phone.by_id("profile")).select_by_value("acid 0-3")
    browser.execute_script(dipped, 2)
    phone.until(lambda: phone.by_id("word").text == "Photo now")
    assert browser.execute_script("return [heard.at(-1), shaken.length, locks.join()]") == ["Photo now", 1, "on"]
    browser.execute_script(dipped, 121)
    phone.until(lambda: phone.by_id("word").text.startswith("Late"))
    phone.by_id("wash-more").click()  # the word lies over it, lets the press through and goes
    assert not phone.by_id("word").is_displayed()
    count = len(phone.entries(bench[1])) + 1
    phone.snap("ph=4.40", wash=5)
    phone.wait_for_entries(bench[1], count)
    phone.until(lambda: "4.4" in phone.by_id("word").text)
    heard = browser.execute_script("return heard")
    assert heard[-1].startswith("pH 4.4")
    assert "Reading the photo" in heard
    assert not any("aution" in words for words in heard)
    assert browser.execute_script("return [locks.at(-1), window.sounded ?? null]") == ["off", None]  # no sound unasked
    live = browser.find_elements(By.CSS_SELECTOR, "[aria-live], [role=status]")
    assert "answer" not in {e.get_attribute("id") for e in live}  # it holds every caution
    complaints(browser)


def test_signals_are_chosen_and_kept(phone, bench, browser):
    browser.execute_script("document.querySelector('#signals').open = true")
    chosen = {name: phone.by_id(f"signal-{name}").is_selected() for name in ("word", "shake", "sound", "awake")}
    assert chosen == {"word": True, "shake": True, "sound": False, "awake": True}
    for name in ("word", "shake", "sound"):
        browser.execute_script("arguments[0].click()", phone.by_id(f"signal-{name}"))
    phone.open()
    browser.execute_script(LISTEN)
    assert phone.by_id("signal-sound").is_selected()
    count = len(phone.entries(bench[1])) + 1
    phone.snap("ph=5.50", wash=5)
    phone.wait_for_entries(bench[1], count)
    phone.until(lambda: browser.execute_script("return window.sounded === true"))
    time.sleep(0.2)
    assert not phone.by_id("word").is_displayed()
    assert browser.execute_script("return shaken.length") == 0
    assert complaints(browser) == []
    browser.execute_script("localStorage.removeItem('signals')")
