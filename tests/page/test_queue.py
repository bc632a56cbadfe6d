"""What waits on the phone: a batch made there with all that goes in it, what was refused, photos of their own times."""

import os
import time
from datetime import UTC, datetime, timedelta

import pytest
from PIL import Image
from selenium.webdriver.common.by import By
from selenium.webdriver.support.ui import Select

from service.web.app import PAGE
from tests.page.phone import HELD, Phone
from tests.page.wire import Wire
from tests.server.calls import HTTP

OPENS_OFFLINE = True  # its tests open the page without a connection
pytestmark = pytest.mark.slow  # a real browser


@pytest.fixture
def wire(server):
    with Wire(server.port) as found:
        yield found


@pytest.fixture
def phone(browser, wire, batch, tmp_path):
    opened = Phone(browser, wire.url, tmp_path).open()
    browser.execute_async_script("const done = arguments[0]; navigator.serviceWorker.ready.then(() => done())")
    return opened


def _back(phone, wire):
    wire.mode = "on"
    phone.browser.execute_script("dispatchEvent(new Event('online'))")


def test_the_service_worker_keeps_every_file_of_the_page(browser):
    kept = (PAGE / "sw.js").read_text(encoding="utf-8")
    needed = {p.name for p in PAGE.iterdir() if p.suffix not in (".txt", ".html")} - {"sw.js"}
    assert {name for name in needed if f'"/{name}"' not in kept} == set()


def _made_in_the_shed(phone, wire):
    """A batch made without a connection."""
    wire.mode = "off"
    phone.by_id("new-batch").click()
    dialog = phone.by_id("dialog")
    phone.fill(dialog, name="Made in the shed")
    dialog.find_element(By.CSS_SELECTOR, "button.main").click()
    phone.until(lambda: "Made in the shed (waits" in phone.by_id("batch").text)


def test_a_batch_made_offline_takes_what_belongs_to_it(phone, wire, server):
    _made_in_the_shed(phone, wire)
    phone.snap("ph=4.00", wash=1)
    phone.until(lambda: "Waiting on this phone: 2" in phone.by_id("queue").text)
    assert phone.write_down("decant", name="wash 1", litres="2", settled_h="1") == ""
    phone.snap("ph=5.00", wash=2)
    phone.until(lambda: "Waiting on this phone: 4" in phone.by_id("queue").text)
    phone.open()
    assert "Made in the shed" in phone.by_id("stage").text
    _back(phone, wire)
    phone.until(lambda: not phone.by_id("queue").is_displayed())
    made = HTTP.get(f"{server.url}/api/batches").json()[0]
    at = f"{server.url}/api/batches/{made['id']}"
    assert made["name"] == "Made in the shed"
    assert [(e["ph"], e["log"]["wash"]) for e in HTTP.get(f"{at}/readings").json()] == [(4.0, 1), (5.0, 2)]
    notes = HTTP.get(f"{at}/notes").json()  # with the procedure that was chosen
    assert [n["data"]["name"] for n in notes if "name" in n["data"]] == ["wash 1"]
    phone.wait_for_entries(made["id"], 2)
    assert phone.by_id("batch").get_attribute("value") == str(made["id"])


# The batch is made while a list is asked for that does not know of it yet.
MEANWHILE = """
const now = window.fetch;
const pause = (ms) => new Promise((go) => setTimeout(go, ms));
window.fetch = async (path, ...rest) => {
  const made = path === "/api/batches" && rest[0]?.method === "POST";
  if (made) await pause(700);
  const answer = await now(path, ...rest);
  if (String(path).startsWith("/api/batches?limit") && !window.listed) {
    window.listed = true;
    await pause(1500);
  }
  return answer;
};
"""


def test_a_batch_made_meanwhile_stays_the_chosen_one(phone, wire, server, batch):
    _made_in_the_shed(phone, wire)
    phone.browser.execute_script(MEANWHILE)
    _back(phone, wire)
    phone.until(lambda: not phone.by_id("queue").is_displayed())
    phone.until(lambda: phone.browser.execute_script("return window.listed"))
    phone.until(lambda: phone.by_id("batch").get_attribute("value") == str(batch + 1))
    time.sleep(2)
    assert phone.by_id("batch").get_attribute("value") == str(batch + 1)


FAILS = """
const now = window.fetch;
let fails = 1;
const lost = (path) => String(path).includes("/timeline") && fails-- > 0;
window.fetch = (path, ...rest) => (lost(path) ? Promise.reject(new TypeError("lost")) : now(path, ...rest));
"""


def _kinds(server, batch):
    return [note["kind"] for note in HTTP.get(f"{server.url}/api/batches/{batch}/notes").json()]


def test_a_batch_made_while_reminders_are_asked_for_stays_the_chosen_one(phone, wire, batch):
    _made_in_the_shed(phone, wire)
    phone.browser.execute_script(MEANWHILE.replace("/api/batches?limit", "/api/reminders"))
    _back(phone, wire)
    phone.until(lambda: not phone.by_id("queue").is_displayed())
    phone.until(lambda: phone.by_id("batch").get_attribute("value") == str(batch + 1))
    time.sleep(2)
    assert phone.by_id("batch").get_attribute("value") == str(batch + 1)


def test_the_stage_of_the_batch_before_is_not_written_to(phone, server, batch):
    other = HTTP.post(f"{server.url}/api/batches", json={"name": "Another"}).json()["id"]
    phone.open()
    Select(phone.by_id("batch")).select_by_value(str(batch))
    phone.until(lambda: phone.by_id("stage").get_attribute("data-batch") == str(batch))
    phone.browser.execute_script(HELD, ["/api/about"], 2500)
    Select(phone.by_id("batch")).select_by_value(str(other))
    assert not phone.by_id("stage").is_displayed()  # its buttons would write into the other one
    phone.until(lambda: phone.by_id("stage").is_displayed())
    assert phone.write_down("decant", name="wash 1", litres="2") == ""
    phone.until(lambda: "decant" in _kinds(server, other))
    assert "decant" not in _kinds(server, batch)


def test_a_question_that_failed_is_asked_again(phone, batch):
    phone.browser.execute_script(FAILS)
    phone.snap("ph=4.00", wash=1)
    phone.wait_for_entries(batch, 1)


def test_what_was_refused_is_mended_or_thrown_away(phone, wire, server, batch):
    phone.until(lambda: "Stage 1 of" in phone.by_id("stage").text)
    wire.mode = "off"
    for grams in ("412 yards", "7 yards"):
        assert phone.write_down("weight", grams=grams, moisture="20") == ""
    _back(phone, wire)
    phone.until(lambda: len(phone.browser.find_elements(By.CSS_SELECTOR, "#queue-list b")) == 2)
    assert "yards" in phone.by_id("queue").text
    phone.press("queue", "Mend")
    dialog = phone.by_id("dialog")
    field = next(f for f in dialog.find_elements(By.TAG_NAME, "input") if "412" in f.get_attribute("value"))
    field.clear()
    field.send_keys("412 g")
    wet = next(f for f in dialog.find_elements(By.TAG_NAME, "input") if f.get_attribute("value") == "20 to 20")
    wet.clear()
    wet.send_keys("25 to 30")
    dialog.find_element(By.CSS_SELECTOR, "button.main").click()
    phone.until(lambda: "Waiting on this phone: 1" in phone.by_id("queue").text)
    phone.press("queue", "Throw away")
    phone.until(lambda: not phone.by_id("queue").is_displayed())
    notes = HTTP.get(f"{server.url}/api/batches/{batch}/notes").json()
    assert [(n["data"]["grams"], n["data"]["moisture"]) for n in notes] == [(412.0, [0.25, 0.3])]


def test_a_second_weight_that_waited_is_asked_about_where_it_stands(phone, wire, server, batch):
    assert phone.write_down("weight", grams="100", moisture="0", moisture_to="0") == ""
    phone.until(lambda: "100 g" in phone.by_id("log").text)
    wire.mode = "off"
    assert phone.write_down("weight", grams="5", moisture="0", moisture_to="0") == ""
    first = phone.browser.find_element(By.CSS_SELECTOR, "#timeline > li")
    assert first.get_attribute("class") == "waiting"
    assert "100 g" in phone.by_id("timeline").text  # below it
    _back(phone, wire)
    phone.until(lambda: "does 5 g replace it, or is it another lot" in phone.by_id("timeline").text)
    wire.mode = "off"
    phone.press("timeline", "Another lot")
    dialog = phone.by_id("dialog")
    phone.until(dialog.is_displayed)
    dialog.find_element(By.CSS_SELECTOR, "button.main").click()
    phone.until(lambda: "waits on this phone" in phone.by_id("timeline").text)
    _back(phone, wire)
    phone.until(lambda: "Silver expected: 79.0 g" in phone.by_id("log").text)
    kept = HTTP.get(f"{server.url}/api/batches/{batch}/timeline").json()
    assert (kept["waiting"], [c["what"] for c in kept["entries"][0]["history"]]) == (0, ["answered"])


def test_what_was_typed_in_a_form_survives_a_reload(phone):
    phone.by_id("new-batch").click()
    phone.fill(phone.by_id("dialog"), name="half a na")
    phone.open()
    phone.by_id("new-batch").click()
    box = phone.by_id("dialog").find_element(By.NAME, "name")
    assert box.get_attribute("value") == "half a na"
    phone.by_id("dialog-cancel").click()
    phone.by_id("new-batch").click()
    assert phone.by_id("dialog").find_element(By.NAME, "name").get_attribute("value") == ""


def test_several_photos_each_with_its_own_time(phone, batch, tmp_path):
    """A dip counts only for a photo that was taken after it."""
    phone.by_id("dip").click()
    time.sleep(1.1)  # EXIF has whole seconds
    old = datetime.now(UTC).replace(microsecond=0) - timedelta(hours=20)
    after = datetime.now(UTC).replace(microsecond=0)
    zone = "+05:30"
    for name, taken, offset in (("old", old, zone), ("after", after, "+00:00"), ("plain", None, None)):
        picture, exif = Image.new("RGB", (240, 180), (len(name) * 30, 120, 90)), Image.Exif()
        if taken is not None:
            local = taken + (timedelta(hours=5, minutes=30) if offset == zone else timedelta())
            exif.get_ifd(0x8769)[36867] = local.strftime("%Y:%m:%d %H:%M:%S")
            exif.get_ifd(0x8769)[36881] = offset
        path = tmp_path / f"{name}.jpg"
        picture.save(path, exif=exif)
        with path.open("ab") as more:
            own = "" if taken is None else taken.astimezone(UTC).isoformat()
            more.write(f"#{name} FAKE:ph=6.00;CAMERA={own};".encode())
    week = time.time() - 7 * 86400
    os.utime(tmp_path / "plain.jpg", (week, week))
    phone.by_id("file").send_keys("\n".join(str(tmp_path / f"{n}.jpg") for n in ("after", "old", "plain")))
    phone.wait_for_entries(batch, 3)
    found = [(e["photo"], e["log"]["moment"]["source"], "dipped_at" in e["log"]["said"]) for e in phone.entries(batch)]
    # The file is older than the batch and says nothing; the last came at once, and its arrival is as good.
    assert found == [("plain.jpg", "upload", False), ("old.jpg", "exif_zone", False), ("after.jpg", "upload", True)]
    times = [e["log"]["snapped_at"] for e in phone.entries(batch)]
    assert datetime.fromisoformat(times[1]) == old
    assert abs(datetime.fromisoformat(times[0]).timestamp() - week) < 1
    assert "by the camera, with its zone" in phone.by_id("timeline").text
    assert "start the clock" in phone.by_id("dip").text  # spent


def test_an_old_photo_does_not_stop_the_clock(phone, batch, tmp_path):
    phone.by_id("dip").click()
    path = tmp_path / "old.jpg"
    Image.new("RGB", (240, 180)).save(path)
    os.utime(path, (time.time() - 3600,) * 2)
    phone.by_id("file").send_keys(str(path))
    phone.wait_for_entries(batch, 1)
    assert "dipped_at" not in phone.entries(batch)[0]["log"]["said"]
    assert "start the clock" not in phone.by_id("dip").text
    phone.snap("ph=6.00")
    phone.wait_for_entries(batch, 2)
    assert "dipped_at" in phone.entries(batch)[1]["log"]["said"]
