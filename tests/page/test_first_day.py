"""The first day in a browser: from an empty folder to a first reading, its taps counted; left, and taken up again.

The photos are rendered ones of the demo: a strip on the card stands for the unused one and for the card itself.
"""

import csv
import time
from pathlib import Path

import numpy as np
import pytest
from selenium.common.exceptions import NoSuchElementException, StaleElementReferenceException
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from stripread.kind import load_kind
from tests.page.phone import Phone, fits
from tests.page.test_page import complaints
from tests.scenes import render
from tests.scenes.chart import chart_scene
from tests.server.calls import HTTP
from tests.server.conftest import a_photo
from tests.server.running import Running

OPENS_OFFLINE = True  # its tests open the page without a connection
pytestmark = pytest.mark.slow  # a real browser

DEMO = Path(__file__).resolve().parents[2] / "service" / "demo"
STRIP = DEMO / "photos" / "05-wash-04.jpg"
WITH_BUFFERS = ("01.0", "03.0", "05.0", "07.0", "09.0", "11.0", "13.0")
MOST_TAPS = 60


class Hand:
    """Acts on the page as a thumb does, and counts: a press, a choice of a photo or a field typed into is one tap."""

    def __init__(self, phone: Phone):
        self.phone = phone
        self.taps = 0
        self.began = time.monotonic()

    def find(self, css):
        found = self.phone.browser.find_element(By.CSS_SELECTOR, css)
        self.phone.browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", found)
        return found

    def text(self, css):
        """Read in one step: what is drawn anew meanwhile is no longer there for a second one."""
        return self.phone.browser.execute_script("return document.querySelector(arguments[0]).textContent", css)

    def press(self, css):
        """Press it, once it is there and is not just being drawn anew."""

        def pressed():
            try:
                self.find(css).click()
            except (NoSuchElementException, StaleElementReferenceException):
                return False
            return True

        self.phone.until(pressed)
        self.taps += 1

    def type(self, css, text):
        box = self.find(css)
        box.clear()
        box.send_keys(text, Keys.TAB)
        self.taps += 1

    def snap(self, css, photo):
        """Two taps: the button, and the release of the camera."""
        self.phone.until(lambda: self.phone.browser.find_elements(By.CSS_SELECTOR, css))
        self.phone.browser.find_element(By.CSS_SELECTOR, css).send_keys(str(photo))
        self.taps += 2

    def snap_proposed(self, photo):
        """The proposed liquid's button, and the release."""
        self.press("#liquid-list .proposed button")
        self.phone.by_id("liquid-camera").send_keys(str(photo))
        self.taps += 1

    def says(self, words, seconds=60):
        self.phone.until(lambda: words in self.phone.by_id("apart").text, seconds)


@pytest.fixture
def bare(tmp_path):
    with Running(tmp_path, bare=1) as running:
        yield running


@pytest.fixture
def hand(browser, bare, tmp_path):
    browser.get(bare.url)
    browser.execute_script("localStorage.clear(); sessionStorage.clear()")
    browser.get("about:blank")
    complaints(browser)
    return Hand(Phone(browser, bare.url, tmp_path).open())


def test_from_an_empty_folder_to_a_first_reading(hand, bare, look):
    assert HTTP.get(f"{bare.url}/api/about").json()["kinds"]["ph"] is False
    card(hand, look)
    strip(hand, look)
    liquids(hand, look)
    hand.press("#learn")
    hand.says("This calibration:", 180)
    hand.says("Strips are read with it now: four-pad, version 1.")
    look("learn")
    current = [one for one in HTTP.get(f"{bare.url}/api/profiles").json() if one["current"]]
    assert [one["name"] for one in current] == ["four-pad"]
    hand.press("#first-batch")
    hand.phone.until(lambda: hand.phone.by_id("dialog").is_displayed())
    hand.type("#dialog [name=name]", "first batch")
    hand.press("#dialog button.main")
    hand.phone.until(lambda: not hand.phone.by_id("dialog").is_displayed())
    hand.phone.until(lambda: hand.phone.by_id("camera").is_enabled())
    hand.snap("#camera", DEMO / "buffers" / "buffer-07.0-1.jpg")
    hand.phone.until(lambda: "between" in hand.phone.answer(), 60)
    batch = HTTP.get(f"{bare.url}/api/batches").json()[0]["id"]
    (entry,) = hand.phone.entries(batch)
    assert entry["log"]["profile_sha256"] == current[0]["sha256"]
    low, high = entry["interval"]
    assert low <= 7.0 <= high
    print(f"{hand.taps} taps, {time.monotonic() - hand.began:.0f} s")
    assert hand.taps <= MOST_TAPS
    assert complaints(hand.phone.browser) == []


@pytest.mark.thorough
def test_the_chart_of_the_bottle_alone_leads_to_a_rough_curve(hand, bare, tmp_path, look):
    HTTP.post(f"{bare.url}/api/strip-kinds", json=load_kind(DEMO / "strip.toml").to_dict()).raise_for_status()
    scene, swatches = chart_scene(np.random.default_rng(5), "four")
    photo = render(scene)
    (tmp_path / "chart.jpg").write_bytes(photo.data)
    hand.phone.open()
    hand.press("#step-liquids")
    hand.press("#chart summary")
    hand.snap("#chart-camera", tmp_path / "chart.jpg")
    hand.press("#chart-save")
    hand.says("Type the pH values that stand on the chart")
    hand.type("#chart [name=chart]", " ".join(f"{ph:g}" for ph in sorted({s.ph for s in swatches})))
    hand.press("#chart .alarm ~ div details summary")
    place = {(s.ph, s.pad): photo.truth.card_to_px(np.array([[s.x_mm, s.y_mm]]))[0] for s in swatches}
    boxes = iter(range(8))
    for corner in ((0.0, 0), (14.0, 0), (14.0, 3), (0.0, 3)):
        for pixels, size in zip(place[corner], photo.truth.size, strict=True):
            box = hand.phone.browser.find_elements(By.CSS_SELECTOR, "#chart .padrow input")[next(boxes)]
            box.clear()
            box.send_keys(f"{100 * pixels / size:.1f}", Keys.TAB)
    marks = hand.phone.browser.find_elements(By.CSS_SELECTOR, "#chart .mark-field")
    assert len(marks) == len(swatches) == 60
    look("chart")
    before = hand.phone.browser.find_elements(By.CSS_SELECTOR, "#chart .padrow input")[0].get_attribute("value")
    grip = hand.find("#chart .grip")
    ActionChains(hand.phone.browser).drag_and_drop_by_offset(grip, 40, 0).perform()  # pulled away, and back
    moved = hand.phone.browser.find_elements(By.CSS_SELECTOR, "#chart .padrow input")[0].get_attribute("value")
    assert float(moved) > float(before) + 5
    ActionChains(hand.phone.browser).drag_and_drop_by_offset(grip, -40, 0).perform()
    hand.press("#chart-save")
    hand.says("The chart is there: 60 fields.")
    hand.press("#go-on")
    hand.press("#learn")
    hand.says("This calibration:", 180)
    hand.says("It was never tested by a photo: it rests on the chart alone.")
    look("chart-learned")
    assert complaints(hand.phone.browser) == []


def test_what_is_refused_says_why_and_photos_outlive_the_bench(hand, bare, browser):
    kind = load_kind(DEMO / "strip.toml").to_dict()
    HTTP.post(f"{bare.url}/api/strip-kinds", json=kind).raise_for_status()
    hand.phone.open()
    hand.press("#step-liquids")
    hand.phone.until(lambda: browser.find_elements(By.CSS_SELECTOR, "#apart [name=own]"))
    hand.type("[name=own]", "7,00 x")
    hand.says("Type pH values from 0 to 14")
    hand.type("[name=own]", "7,00 4.01")
    bad = hand.phone.folder / "bad.jpg"
    bad.write_bytes(a_photo())
    bare.kill()  # before there is a draft: it waits with the photos, and they go to it
    for photo in (DEMO / "buffers" / "buffer-04.0-0.jpg", bad):
        hand.snap_proposed(photo)
    hand.says("The photo waits on this phone")
    hand.phone.until(lambda: len(waiting(browser)) == 3)
    with Running(bare.folder, port=bare.port, bare=1):
        hand.phone.open()
        hand.says("3 Liquids")  # taken up again where it was left
        hand.says("1 liquid, 1 photo")
        hand.press("#first-lost button")  # the one that was refused meanwhile is said to be
        hand.phone.until(lambda: waiting(browser) == [])
        hand.snap_proposed(bad)
        hand.says("This photo can't be used.")
        hand.says("Why was it refused?")
        assert waiting(browser) == []
        hand.press("#first-leave")
        hand.phone.until(lambda: hand.phone.by_id("first-call").is_displayed())
        assert hand.phone.by_id("camera-label").is_displayed()


WAITING = """
const done = arguments[0];
import("/kept_queue.js").then((kept) => kept.waitingNow()).then(({ items }) => done(items.map((item) => item.words)));
"""


def waiting(browser):
    return browser.execute_async_script(WAITING)


def test_profiles_are_imported_chosen_and_checked(hand, bare, browser):
    browser.execute_script("location.hash = '#profiles'")
    hand.says("There is no profile yet.")
    hand.phone.by_id("profile-import").send_keys(str(DEMO / "profile.toml"))
    hand.says("read with now")
    assert "four-pad 0-14, version 1" in hand.phone.by_id("profile-list").text
    hand.press("#profile-list details summary")
    hand.says("No control strip was read with it yet.")
    hand.type("[name=ph]", "7,0")
    hand.snap("#control-1", DEMO / "buffers" / "buffer-07.0-0.jpg")
    hand.says("within the lines")
    checks = HTTP.get(f"{bare.url}/api/profiles/1/checks").json()
    assert [point["ph"] for point in checks["points"]] == [7.0]


def test_an_edge_is_pulled_with_the_finger_and_roll_paper_needs_no_photo(hand, bare, browser):
    strip = {"of": "x", "roll": False, "width": 6, "length": 75, "outline": None, "reasons": []}
    strip["pads"] = [{"start": 2, "end": 8, "doubt": "pale"}, {"start": 9.5, "end": 15.5, "doubt": None}]
    browser.execute_script("localStorage.setItem('first-pads', JSON.stringify(arguments[0]))", strip)
    hand.press("#step-strip")
    hand.says("Pad 1: not sure")
    grip = browser.find_elements(By.CSS_SELECTOR, ".pads .grip")[1]
    browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", grip)
    end = lambda: float(hand.find("[data-pad='0'][data-side='end']").get_attribute("value"))  # noqa: E731
    before = end()
    ActionChains(browser).click_and_hold(grip).move_by_offset(-12, 0).release().perform()
    hand.phone.until(lambda: end() != before)
    after = end()
    wide = browser.find_element(By.CSS_SELECTOR, ".pads").rect["width"] / 30.0  # px a mm: 24 mm and 3 mm on each side
    assert after == pytest.approx(before - 12 / wide, abs=0.3)
    ActionChains(browser).click_and_hold(grip).move_by_offset(200, 0).release().perform()
    hand.phone.until(lambda: end() == 9.5)  # not over the next pad
    hand.press("#strip-roll")
    hand.type("[name=name]", "roll 1-11")
    hand.press("#strip-save")
    hand.says("Strip: roll 1-11")
    (kind,) = HTTP.get(f"{bare.url}/api/strip-kinds").json()
    assert kind["roll"] is True


def card(hand, look):
    hand.says("1 Card")
    look("start")
    hand.type("[name=measured]", "100")
    hand.snap("#card-photo", STRIP)
    hand.says("This print:")
    look("card")
    hand.press("#go-on")


def strip(hand, look):
    hand.says("2 Strip")
    hand.type("[name=name]", "four-pad")
    hand.type("[name=after]", "10")
    hand.type("[name=after_to]", "60")
    hand.type("[name=counted]", "4")
    hand.snap("#strip-photo", STRIP)
    hand.says("4 pads were found")
    hand.says("as many as you count")
    hand.type("[name=counted]", "5")
    hand.press("#strip-save")
    hand.says("You count 5 pads, and 4 stand here.")
    hand.type("[name=counted]", "4")
    for pad, (low, high) in enumerate([(2.0, 8.0), (9.5, 15.5), (17.0, 23.0), (24.5, 30.5)]):
        for side, value in (("start", low), ("end", high)):
            box = hand.find(f"[data-pad='{pad}'][data-side='{side}']")
            assert abs(float(box.get_attribute("value")) - value) <= 0.7
    hand.type("[data-pad='0'][data-side='start']", "2.0")
    look("strip")
    hand.press("#strip-save")


def liquids(hand, look):
    hand.phone.until(lambda: hand.phone.browser.find_elements(By.CSS_SELECTOR, "#apart [name=own]"))
    hand.type("[name=own]", " ".join(str(float(ph)) for ph in WITH_BUFFERS))
    look("liquids")
    with (DEMO / "buffers" / "buffers.csv").open(encoding="utf-8") as table:
        photos = {float(row["ph"]): row["photo"] for row in csv.DictReader(table) if row["photo"].endswith("-0.jpg")}
    for n in range(1, len(WITH_BUFFERS) + 1):
        first = hand.text("#liquid-list .proposed p").removeprefix("Next: pH ")
        hand.snap_proposed(DEMO / "buffers" / photos[float(first)])
        there = f"{n} liquid{'s' if n > 1 else ''}, {n} photo"
        hand.phone.until(lambda there=there: there in hand.text("#liquid-wanted h3"), 60)
    look("photographed")
    hand.press("#go-on")


@pytest.fixture
def look(hand, request):
    """Keeps screenshots where somebody wants to look at them: ``--basetemp`` tells where."""
    folder = request.config.getoption("--basetemp")

    def looking(name):
        if not folder:
            return
        browser = hand.phone.browser
        for width, height in ((360, 740), (1280, 800)):
            screen = {"width": width, "height": height, "deviceScaleFactor": 1, "mobile": width < 600}
            browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", screen)
            time.sleep(0.4)
            tall = browser.execute_script("return document.documentElement.scrollHeight")
            browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", {**screen, "height": min(tall, 4000)})
            time.sleep(0.3)
            browser.save_screenshot(str(Path(folder) / f"{name}-{width}.png"))
            assert fits(browser)
        browser.execute_cdp_cmd("Emulation.clearDeviceMetricsOverride", {})

    return looking
