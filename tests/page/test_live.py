"""The guided photo in a browser whose camera plays a rendered stream: released by itself, and its reading arrives."""

import time
from datetime import datetime
from itertools import pairwise
from pathlib import Path

import pytest
from selenium.webdriver.common.keys import Keys

from tests.live.streams import Shown
from tests.live.video import camera_arguments, demo_stream, write_video
from tests.page.browsing import a_browser, programs
from tests.page.phone import Phone
from tests.page.test_accessible import _axe
from tests.page.test_page import complaints
from tests.server.calls import HTTP
from tests.server.running import Running

pytestmark = pytest.mark.slow  # a real browser

PH = 3.0
PROFILE = Path(__file__).resolve().parents[2] / "service" / "demo" / "profile.toml"
WAITS = """return document.querySelector('#live polygon.wait') !== null
  && document.getElementById('live-says').textContent.includes('Wait')"""
LISTEN = """window.heard = [document.getElementById('live-spoken').textContent];
new MutationObserver(() => window.heard.push(document.getElementById('live-spoken').textContent))
  .observe(document.getElementById('live-spoken'), { childList: true, characterData: true, subtree: true });"""
LATER = "localStorage.setItem('dipped', Date.now())"  # the strip is not to be read for ten seconds from now


@pytest.fixture(scope="module")
def cameras_browser(tmp_path_factory):
    if None in programs():
        pytest.skip("chromium is not installed")
    video = tmp_path_factory.mktemp("camera") / "stream.mjpeg"
    write_video(Shown(demo_stream(PH)), video, 1.0, 1.0)
    with a_browser(None, *camera_arguments(video)) as found:
        yield found


@pytest.fixture(scope="module")
def bench(tmp_path_factory):
    with Running(tmp_path_factory.mktemp("bench"), profile=PROFILE) as server:
        yield server


@pytest.fixture
def phone(cameras_browser, bench, tmp_path):
    made = HTTP.post(f"{bench.url}/api/batches", json={"name": "J-3"}).json()["id"]
    cameras_browser.get("about:blank")
    complaints(cameras_browser)
    found = Phone(cameras_browser, f"{bench.url}/#batch={made}", tmp_path).open()
    found.until(lambda: found.by_id("guided").is_displayed())
    found.url, found.batch = bench.url, made
    return found


def test_the_photo_is_taken_by_itself_and_its_reading_arrives(phone, cameras_browser):
    before = time.time()
    phone.by_id("guided").click()
    phone.until(lambda: phone.entries(phone.batch), 60)
    phone.until(lambda: "between" in phone.answer(), 30)
    (entry,) = phone.entries(phone.batch)
    assert entry["status"] != "refused"
    low, high = entry["interval"]
    assert low <= PH <= high
    assert entry["log"]["wash"] == 1
    assert abs(datetime.fromisoformat(entry["log"]["snapped_at"]).timestamp() - before) < 60
    assert not cameras_browser.find_elements("id", "live")  # closed, and the camera with it
    assert complaints(cameras_browser) == []
    assert time.time() - before < 90


def test_it_waits_for_the_strip_is_accessible_and_can_be_left_by_key(phone, cameras_browser):
    cameras_browser.execute_script(LATER)
    phone.by_id("guided").send_keys(Keys.ENTER)
    phone.until(lambda: cameras_browser.execute_script(LATER) or cameras_browser.execute_script(WAITS), 60)
    assert cameras_browser.switch_to.active_element.get_attribute("id") == "live-close"
    line = cameras_browser.find_elements("css selector", "#live polygon")[1].get_attribute("points")
    assert len(line.split()) == 4
    cameras_browser.execute_script(LISTEN)
    heard = lambda: cameras_browser.execute_script(f"{LATER}; return window.heard")  # noqa: E731
    phone.until(lambda: any(words.startswith("Wait") for words in heard()), 30)
    time.sleep(1.5)
    waits = [words.startswith("Wait") for words in heard()]
    assert not any(one and other for one, other in pairwise(waits))  # the seconds are counted without a word
    assert _axe(cameras_browser) == []
    cameras_browser.switch_to.active_element.send_keys(Keys.ESCAPE)
    phone.until(lambda: not cameras_browser.find_elements("id", "live"))
    assert cameras_browser.switch_to.active_element.get_attribute("id") == "guided"
    assert phone.entries(phone.batch) == []
    phone.by_id("guided").click()  # and once more, taken as it is
    phone.until(lambda: cameras_browser.execute_script(LATER) or phone.by_id("live-now").is_enabled(), 30)
    phone.by_id("live-now").click()
    phone.until(lambda: phone.entries(phone.batch), 60)
    assert complaints(cameras_browser) == []


def test_without_leave_the_camera_button_is_named(phone, cameras_browser):
    refuse = "navigator.mediaDevices.getUserMedia = async () => { throw new DOMException('', 'NotAllowedError'); }"
    cameras_browser.execute_script(refuse)
    phone.by_id("guided").click()
    phone.until(lambda: "Take photo" in phone.by_id("live-trouble").text)
    assert not phone.by_id("live-now").is_enabled()
    phone.by_id("live-close").click()
    assert phone.by_id("camera").is_enabled()


def test_frames_are_kept_where_no_photo_can_be_taken(phone, cameras_browser):
    cameras_browser.execute_script("delete ImageCapture.prototype.takePhoto; delete window.VideoFrame;")
    phone.by_id("guided").click()
    phone.until(lambda: phone.entries(phone.batch), 90)
    (entry,) = phone.entries(phone.batch)
    low, high = entry["interval"]
    assert low <= PH <= high


def test_where_there_is_no_camera_nothing_is_offered(browser, server, batch, tmp_path):
    phone = Phone(browser, server.url, tmp_path).open()
    devices = "const done = arguments[0]; navigator.mediaDevices.enumerateDevices().then((all) => done(all.length))"
    assert browser.execute_async_script(devices) == 0
    assert not phone.by_id("guided").is_displayed()
    assert phone.by_id("camera").is_enabled()
