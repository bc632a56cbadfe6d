"""The batches of docs/worked-batches.md by the page's own buttons: ``python -m tests.worked_on_the_page``.

Each command of the paper is done on the page as a hand would: by what the page offers, in the order of the paper. At
the end the page's account of the silver is held against what the paper says and what the command says of the same log.
``--shots FOLDER`` keeps a picture of each step, ``--width 1280`` walks at a desk. It prints each step with its taps.
"""

from __future__ import annotations

import json
import re
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import click
from click.testing import CliRunner
from selenium.webdriver.common.by import By
from selenium.webdriver.remote.webelement import WebElement
from selenium.webdriver.support.ui import Select

from service.cli import app
from tests.ledger.worked import Worked, worked_batches
from tests.page.browsing import a_browser
from tests.page.phone import Phone, fits
from tests.server.calls import HTTP
from tests.server.running import Running

HEIGHTS = {360: 780, 390: 844, 1280: 800}
UNITS = {"h": "hour", "°C": "degC", "L": "l"}  # as the paper types them, as the page's lists have them
PHOTOS = {
    "neutral-wash": (("ph", "ph=6.80/0.2"), ("ph", "ph=6.90/0.2")),
    "lye-sugar": (("solid", "pale=0.002:0.004:0.006"),),
    "last-wash": (("ph", "ph=6.80/0.2"), ("ph", "ph=6.90/0.2")),
}
_NUMBER = re.compile(r"\d+(?:\.\d+)?")


class Walker:
    """Somebody with the page and the paper.

    ``taps`` counts what was touched: buttons, boxes, choices. With ``photos`` they are taken where a stage reads them;
    ``opened`` counts the gates that then opened by themselves.
    """

    def __init__(self, phone: Phone, data: Path, shots: Path | None = None, say: Callable[[str], None] = print) -> None:
        self.phone, self.browser, self.data, self.shots, self.say = phone, phone.browser, data, shots, say
        forms = HTTP.get(f"{phone.url}/api/note-forms").json()
        self.forms = {form["kind"]: {field["name"]: field for field in form["fields"]} for form in forms}
        self.taps = self.steps = self.opened = 0
        self.photos = False
        self.wide: list[str] = []  # steps after which something lay beyond the page's side

    def walk(self, worked: Worked) -> int:
        """All commands of one batch; the batch's number."""
        number = 0
        for words in worked.commands:
            before = self.taps
            _, what, *rest = words
            number = getattr(self, f"_{what}")(*rest) or number
            self.say(f"{self.taps - before:3} taps  {' '.join(words)}")
            self._shot("-".join(words[1:5]))
            if not fits(self.browser):
                self.wide.append(" ".join(words))
        return number

    # --- what the commands say, on the page

    def _new(self, name: str, _option: str, procedure: str) -> int:
        self._tap(self.phone.by_id("new-batch"))
        dialog = self._dialog()
        self._type(dialog, "name", name)
        self.phone.until(lambda: dialog.find_elements(By.NAME, "procedure"))  # where the page has just been opened
        self._choose(dialog, "procedure", procedure)
        self._save(dialog)
        chosen = self.phone.by_id("batch")
        self.phone.until(lambda: Select(chosen).first_selected_option.text == name)
        self.phone.until(lambda: chosen.get_attribute("value").isdigit())
        self.phone.until(lambda: self.phone.by_id("stage").get_attribute("data-batch") == chosen.get_attribute("value"))
        self.phone.until(lambda: "Stage 1" in self.phone.by_id("stage").text)
        return int(chosen.get_attribute("value"))

    def _note(self, batch: str, kind: str, *said: str) -> None:
        self._batch(batch)
        before = self._notes(batch)
        self._tap(self._button("stage", "Write down"))
        dialog = self._dialog()
        self._choose(dialog, "kind", kind)
        self._tap(dialog.find_element(By.CSS_SELECTOR, "button.main"))
        self.phone.until(lambda: not dialog.find_elements(By.NAME, "kind"))
        for one in said:
            name, _, value = one.partition("=")
            self._fill(dialog, self.forms[kind][name], value)
        self._shot(f"form-{kind}")
        self._save(dialog)
        self.phone.until(lambda: self._notes(batch) == before + 1)

    def _next(self, batch: str, *options: str) -> None:
        self._batch(batch)
        said = dict(zip(options[::2], options[1::2], strict=True))
        if self.photos:
            self._read(batch, HTTP.get(f"{self.phone.url}/api/batches/{batch}/bench").json()["stage"]["id"])
        for _ in range(9):  # one stage after the other, as the page goes
            bench = HTTP.get(f"{self.phone.url}/api/batches/{batch}/bench").json()
            if bench["stage"]["id"] == said["--to"]:
                return
            self._tap(self._button("stage", "Go on"))
            dialog = self._dialog()
            if dialog.find_elements(By.NAME, "reason"):
                self._type(dialog, "reason", said["--reason"])
                self._type(dialog, "who", said["--who"])
            else:
                self.opened += 1
            self._save(dialog)
            title = bench["next_stage"]["title"]
            self.phone.until(lambda title=title: self.phone.by_id("stage-title").text == title)
        raise AssertionError(f"the page does not come to {said['--to']}")

    def _read(self, batch: str, stage: str) -> None:
        """Photos of what a stage reads, by the made-up reader: pH of two washes, or the solid."""
        for kind, orders in PHOTOS.get(stage, ()):
            before = len(self.phone.entries(int(batch)))
            choice = self.browser.find_element(By.CSS_SELECTOR, f"input[name=kind][value={kind}]")
            if not choice.is_selected():
                self._tap(choice.find_element(By.XPATH, ".."))
            if kind == "ph":
                self._tap(self.phone.by_id("wash-more"))
            self.phone.snap(orders)
            self.taps += 1
            self.phone.wait_for_entries(int(batch), before + 1)
            self._shot(f"photo-{stage}")

    def _vessels(self, batch: str) -> int:
        self._batch(batch)
        box = self.phone.by_id("vessels")
        if box.get_attribute("open") is None:
            self._tap(box.find_element(By.TAG_NAME, "summary"))
        self.phone.until(lambda: box.find_elements(By.CSS_SELECTOR, ".worked[data-batch='" + batch + "'] table"))
        return int(batch)

    # --- what no command of the paper asks for

    def another_stage(self, to: str, reason: str, who: str) -> None:
        """To a stage that is not the next one."""
        details = self.phone.by_id("stage").find_element(By.TAG_NAME, "details")
        if details.get_attribute("open") is None:
            self._tap(details.find_element(By.TAG_NAME, "summary"))
        self._tap(self._button("stage", "Another stage"))
        dialog = self._dialog()
        title = self._choose(dialog, "to", to)
        self._type(dialog, "reason", reason)
        self._type(dialog, "who", who)
        self._save(dialog)
        self.phone.until(lambda: self.phone.by_id("stage-title").text == title)

    def offered(self, kind: str, name: str) -> list[str]:
        """What a box of a note's form offers; the form is closed again."""
        self._tap(self._button("stage", "Write down"))
        dialog = self._dialog()
        self._choose(dialog, "kind", kind)
        self._tap(dialog.find_element(By.CSS_SELECTOR, "button.main"))
        self.phone.until(lambda: dialog.find_elements(By.CSS_SELECTOR, f"[name={name}]"))
        names = f"return [...document.querySelector('#dialog [name={name}]').list.options].map((one) => one.value)"
        found: list[str] = self.phone.until(lambda: self.browser.execute_script(names))
        self._tap(self.phone.by_id("dialog-cancel"))
        return found

    # --- by hand

    def _batch(self, number: str) -> None:
        box = self.phone.by_id("batch")
        if box.get_attribute("value") != number:
            self.taps += 2
            Select(box).select_by_value(number)
        self.phone.until(lambda: self.phone.by_id("stage").get_attribute("data-batch") == number)
        self.phone.until(lambda: self.phone.by_id("stage").is_displayed())

    def _notes(self, batch: str) -> int:
        return len(HTTP.get(f"{self.phone.url}/api/batches/{batch}/notes").json())

    def _dialog(self) -> WebElement:
        dialog = self.phone.by_id("dialog")
        self.phone.until(dialog.is_displayed)
        return dialog

    def _save(self, dialog: WebElement) -> None:
        self._tap(dialog.find_element(By.CSS_SELECTOR, "button.main"))
        self.phone.until(lambda: not dialog.is_displayed() or self.phone.by_id("dialog-trouble").text)
        assert not dialog.is_displayed(), self.phone.by_id("dialog-trouble").text

    def _button(self, where: str, words: str) -> WebElement:
        path = f".//button[starts-with(text(), '{words}')]"
        return self.phone.until(lambda: next(iter(self.phone.by_id(where).find_elements(By.XPATH, path)), None))

    def _tap(self, what: WebElement) -> None:
        self.browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", what)
        what.click()
        self.taps += 1

    def _type(self, where: WebElement, name: str, text: str) -> None:
        box = where.find_element(By.NAME, name)
        self._tap(box)
        box.clear()
        time.sleep(0.3)  # as a hand comes to the keys; those that come before the box is ready for them are lost
        box.send_keys(text)
        assert box.get_attribute("value") == text, f"{name} does not take {text}"

    def _choose(self, where: WebElement, name: str, value: str) -> str:
        """From a list: nothing to tap where it stands there already. Gives the words of it."""
        box = where.find_element(By.NAME, name)
        if box.get_attribute("value") != value:
            self.browser.execute_script("arguments[0].scrollIntoView({block: 'center'})", box)
            Select(box).select_by_value(value)
            self.taps += 2
        return Select(box).first_selected_option.text

    def _fill(self, dialog: WebElement, field: dict[str, Any], value: str) -> None:
        """A value as the paper types it, in the boxes that the page has for it."""
        name = field["name"]
        if field["options"]:
            self._choose(dialog, name, value)
        elif field["form"] == "flag":
            if value == "true":
                self._tap(dialog.find_element(By.NAME, name))
        elif field["form"] == "range":
            for end, box in zip(_ends(value, field["parts"]), (name, f"{name}_to"), strict=True):
                self._type(dialog, box, end)
        elif field["units"] and " " in value:
            amount, unit = value.split()
            self._type(dialog, name, amount)
            self._choose(dialog, f"{name}_unit", UNITS.get(unit, unit))
        else:
            box = dialog.find_element(By.NAME, name)
            self._choose(dialog, name, value) if box.tag_name == "select" else self._type(dialog, name, value)

    def _shot(self, name: str) -> None:
        if self.shots is None:
            return
        self.steps += 1
        safe = re.sub(r"[^\w-]+", "_", name)
        self.browser.save_screenshot(str(self.shots / f"{self.steps:03}-{safe}.png"))


def _ends(value: str, parts: int) -> list[str]:
    """Both ends of a range as the paper types it ("8-12%", "0.995-1"), in the page's parts."""
    low, _, high = value.partition("-")
    whole = 0.01 if value.endswith("%") else 1.0
    return [f"{float(end.rstrip('%')) * whole * parts:g}" for end in (low, high or low)]


# --- the account of the silver, as both say it


def said_by_page(phone: Phone) -> list[str]:
    """The sentence, then every row of both tables, as the page's *Where the silver is* shows them."""
    box = phone.by_id("vessels")
    rows = [
        [row.find_element(By.TAG_NAME, "th").text.partition("\n")[0], row.find_element(By.TAG_NAME, "td").text]
        for row in box.find_elements(By.CSS_SELECTOR, "tbody tr")
    ]
    return [_plain(box.find_element(By.CLASS_NAME, "next").text)] + [_plain(": ".join(row)) for row in rows]


def said_by_command(data: Path, batch: int) -> list[str]:
    """The same of ``stripread batch vessels``."""
    done = CliRunner().invoke(app, ["batch", "vessels", str(batch), "--json", "--data", str(data)])
    assert done.exit_code == 0, done.output
    found = json.loads(done.output)
    vessels = sorted(found["vessels"], key=lambda one: -one["silver_g"][1])
    return [_plain(found["sentence"])] + [_plain(f"{m['name']}: {m['words']}") for m in [*vessels, *found["missing"]]]


def _plain(text: str) -> str:
    """Without the mark before the sentence and the spaces that keep a number and its unit on one line."""
    return re.sub(r"\s+", " ", text.replace("\u00a0", " ")).removeprefix("\u26a0 Caution ").strip()


def _alike(one: str, other: str) -> bool:
    """The same words, and figures within the noise of draws: those of a note are seeded by its number in the log."""
    if _NUMBER.sub("#", one) != _NUMBER.sub("#", other):
        return False
    ours, theirs = ([float(found) for found in _NUMBER.findall(line)] for line in (one, other))
    return all(abs(a - b) <= 0.1 * max(ours) for a, b in zip(ours, theirs, strict=True))


def differences(walker: Walker, worked: Worked, number: int) -> list[str]:
    """What the paper or the command says and the page does not, or the other way round."""
    page, command = said_by_page(walker.phone), said_by_command(walker.data, number)
    wanted = [_plain(line) for line in worked.wanted if not line.endswith("first:")]
    return [f"paper: {one}" for one in wanted if not any(_alike(one, other) for other in page)] + [
        f"{who}: {one}"
        for who, ones, others in (("page", page, command), ("command", command, page))
        for one in ones
        if one not in others
    ]


@contextmanager
def walking(folder: Path, width: int, shots: Path | None, say: Callable[[str], None] = print) -> Iterator[Walker]:
    """A browser and a service of its own, the page open."""
    with a_browser(None) as browser, Running(folder) as server:
        phone = Phone(browser, server.url, folder).open()
        size = {"width": width, "height": HEIGHTS.get(width, 800), "deviceScaleFactor": 1, "mobile": width < 600}
        browser.execute_cdp_cmd("Emulation.setDeviceMetricsOverride", size)
        yield Walker(phone, folder / "data", shots, say)


@click.command()
@click.option("--width", default=360, show_default=True)
@click.option("--photos", is_flag=True, help="Take photos where a stage reads them; gates then open by themselves.")
@click.option("--shots", type=click.Path(path_type=Path), help="Folder for a picture of each step.")
def main(width: int, photos: bool, shots: Path | None) -> None:
    if shots is not None:
        shots.mkdir(parents=True, exist_ok=True)
    wrong = []
    with tempfile.TemporaryDirectory() as folder, walking(Path(folder), width, shots, click.echo) as walker:
        walker.photos = photos
        for worked in worked_batches():
            click.echo(f"\n{worked.title}")
            before = walker.taps
            number = walker.walk(worked)
            found = differences(walker, worked, number)
            click.echo(f"{walker.taps - before} taps; page, command and paper {'differ' if found else 'say the same'}")
            wrong += found
        click.echo(f"{walker.opened} gates opened by themselves")
        wrong += [f"beyond the page's side: {step}" for step in walker.wide]
    click.echo("\n".join(wrong))
    sys.exit(1 if wrong else 0)


if __name__ == "__main__":
    main()
