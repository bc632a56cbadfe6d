"""Random sessions of a scripted user on the page: nothing lost, nothing doubled, nothing shown that is not in the log.

`python -m tests.sessions_study --sessions 200 --seed 1`. The user enters photos, batches, notes, stages, corrections,
withdrawals and names, at times with a double tap or with a reload right after it; the Wi-Fi goes, comes back, or loses
answers; the page is reloaded, left and come back to, opened in a second tab; the service is killed in the middle.
"""

import argparse
import random
import sys
import tempfile
import time
from collections import Counter
from dataclasses import dataclass, field
from pathlib import Path

from selenium.common.exceptions import TimeoutException

from tests.page.acting import ACTIONS, Actor, Entered, times_in_log, told
from tests.page.browsing import a_browser
from tests.page.phone import Phone
from tests.page.wire import Wire
from tests.server.calls import HTTP
from tests.server.conftest import a_photo
from tests.server.running import Running

ONLINE = "dispatchEvent(new Event('online'))"
SHOWN = """
const lines = [...document.querySelectorAll("#timeline > li")];
return { entries: lines.filter((l) => l.id.startsWith("entry-")).map((l) => Number(l.id.slice(6))),
         queue: document.querySelectorAll("#queue-list > li").length,
         all: document.getElementById("queue-list").textContent,
         refused: [...document.querySelectorAll("#queue-list b")].map((b) => b.closest("li").textContent),
         batch: document.getElementById("batch").value };
"""
CHANCES = {"act": 9, "off": 3, "on": 3, "deaf": 2, "reload": 2, "hasty": 1, "double": 2, "back": 1, "tab": 2}
CHANCES["kill"] = 0.4


@dataclass
class Tally:
    """What came of the sessions; every fault says what was wrong and in which session."""

    sessions: int = 0
    done: Counter[str] = field(default_factory=Counter)
    entered: Counter[str] = field(default_factory=Counter)
    refused: int = 0
    faults: list[str] = field(default_factory=list)


class Session:
    """One user with one phone, from a batch with one photo and one note on."""

    def __init__(self, browser, server: Running, wire: Wire, seed: int, tally: Tally):
        self.browser, self.server, self.wire, self.tally, self.seed = browser, server, wire, tally, seed
        self.chance = random.Random(seed)
        self.sure: list[Entered] = []
        self.unsure: list[Entered] = []
        wire.mode = "on"
        self.url = f"http://127.0.0.1:{server.port}"
        name = f"session {seed}"
        self.batch = HTTP.post(f"{self.url}/api/batches", json={"name": name}).json()["id"]
        HTTP.post(f"{self.url}/api/batches/{self.batch}/readings", files={"photo": ("a.jpg", a_photo("ph=5.00"))})
        weight = {"kind": "weight", "data": {"of": "chloride", "grams": 412.5}}
        HTTP.post(f"{self.url}/api/batches/{self.batch}/notes", json=weight)
        browser.get("about:blank")
        kept = {"origin": wire.url, "storageTypes": "indexeddb,local_storage"}  # the page's own files stay
        browser.execute_cdp_cmd("Storage.clearDataForOrigin", kept)
        browser.get(f"{wire.url}/healthz")
        browser.execute_script("sessionStorage.clear()")
        self.phone = Phone(browser, wire.url, server.folder).open()
        browser.execute_async_script("const done = arguments[0]; navigator.serviceWorker.ready.then(() => done())")
        self.actor = Actor(self.phone)

    def run(self, steps: int) -> None:
        """Do things, then bring everything back and compare."""
        for _ in range(steps):
            what = self.chance.choices(list(CHANCES), list(CHANCES.values()))[0]
            self.tally.done[what] += 1
            getattr(self, f"_{what}")()
            self._shows_what_is_so()
        self._end()

    # --- what may happen

    def _act(self, **how) -> None:
        what = self.chance.choice(ACTIONS)
        entered = self.actor.act(what, **how)
        if entered is not None:
            self.tally.entered[what] += 1
            (self.sure if how.get("wait", True) else self.unsure).append(entered)

    def _double(self) -> None:
        self._act(taps=2)

    def _hasty(self) -> None:
        self._act(wait=False)
        self._reload()

    def _off(self) -> None:
        self.wire.mode = "off"

    def _deaf(self) -> None:
        self.wire.mode = "deaf"

    def _on(self) -> None:
        self.wire.mode = "on"
        if self.chance.random() < 0.5:  # else the page finds out by itself
            self.browser.execute_script(ONLINE)

    def _reload(self) -> None:
        if self.wire.mode == "deaf":
            self.wire.mode = "off"
        self.phone.open()

    def _back(self) -> None:
        self.browser.execute_script("document.getElementById('dialog').close()")
        self.browser.get("about:blank")
        self.browser.back()
        ready = "return document.body && document.body.dataset.ready === 'yes'"
        if self.wire.mode == "deaf":
            self.wire.mode = "off"
        self.phone.until(lambda: self.browser.execute_script(ready))

    def _tab(self) -> None:
        handles = self.browser.window_handles
        if len(handles) == 1:
            self.browser.switch_to.new_window("tab")
            self._reload()
        else:
            here = self.browser.current_window_handle
            self.browser.switch_to.window(next(h for h in handles if h != here))

    def _kill(self) -> None:
        self.server.kill()
        if self.chance.random() < 0.5:
            self._act()
        self.server.start()

    # --- what must hold

    def _fault(self, words: str) -> None:
        self.tally.faults.append(f"session {self.seed}: {words}")

    def _log_of(self, batch: int) -> set[int]:
        return {e["log"]["id"] for e in HTTP.get(f"{self.url}/api/batches/{batch}/readings").json()}

    def _shows_what_is_so(self) -> None:
        """Every entry that the page shows is in the log of that batch, which only grows."""
        shown = self.browser.execute_script(SHOWN)
        if shown["entries"] and shown["batch"].isdigit():
            strange = set(shown["entries"]) - self._log_of(int(shown["batch"]))
            if strange:
                self._fault(f"the page shows {sorted(strange)} in batch {shown['batch']}, which the log does not have")

    def _end(self) -> None:
        self.wire.mode = "on"
        handles = self.browser.window_handles
        for handle in handles:
            self.browser.switch_to.window(handle)
            self.browser.execute_script(ONLINE)

        def settled():
            shown = self.browser.execute_script(SHOWN)
            return shown if shown["queue"] == len(shown["refused"]) else None

        try:
            refused = self.phone.until(settled, 30)["refused"]
        except TimeoutException:
            self._fault(f"never sent: {self.browser.execute_script(SHOWN)['all']}")
            refused = []
        self.tally.refused += len(refused)
        for entered in self.sure + self.unsure:
            found = times_in_log(self.url, entered)
            kept = sum(_says(words, entered.mark) for words in refused)
            if found > 1 or found + kept > 1:
                self._fault(f"{entered.what} {entered.mark} is there {found} times, and refused {kept} times")
            if entered in self.sure and found + kept == 0:
                self._fault(f"{entered.what} {entered.mark} is lost")
        for handle in handles:
            self.browser.switch_to.window(handle)
            try:
                self.phone.until(self._all_of_it, 15)
            except TimeoutException:
                self._fault("a tab does not show what the log has")
        for handle in handles[1:]:
            self.browser.switch_to.window(handle)
            self.browser.close()
        self.browser.switch_to.window(handles[0])

    def _all_of_it(self) -> bool:
        """Each photo stands in the list once, by the newest entry about it."""
        shown = self.browser.execute_script(SHOWN)
        if not shown["batch"].isdigit():
            return False
        entries = told(f"{self.url}/api/batches/{shown['batch']}/readings")
        return set(shown["entries"]) == {e["log"]["id"] for e in entries if e["log"]["corrected_by"] is None}


def _says(words: str, mark: str) -> bool:
    """Whether the words of what was refused tell of the mark; its batch may bear it as its name, which stands alone."""
    return any(mark in part and part != mark for part in words.split(", "))


def run_sessions(sessions: int, seed: int, steps: int = 8, browser=None, minutes: float = 60.0) -> Tally:
    """Run sessions numbered from ``seed`` on, in one browser, with one service; after ``minutes`` no more begins."""
    tally = Tally()
    until = time.monotonic() + 60.0 * minutes
    with (
        tempfile.TemporaryDirectory() as name,
        a_browser(browser) as found,
        Running(Path(name)) as server,
        Wire(server.port) as wire,
    ):
        for number in range(seed, seed + sessions):
            if time.monotonic() > until:
                break
            Session(found, server, wire, number, tally).run(steps)
            tally.sessions += 1
    return tally


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--sessions", type=int, default=200)
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--steps", type=int, default=8)
    parser.add_argument("--minutes", type=float, default=60.0, help="begin no session after this time")
    said = parser.parse_args()
    began = time.monotonic()
    tally = run_sessions(said.sessions, said.seed, said.steps, minutes=said.minutes)
    print(f"{tally.sessions} sessions in {time.monotonic() - began:.0f} s")
    print(f"entered {tally.entered.total()}: {dict(tally.entered)}")
    print(f"happened: {dict(tally.done)}; refused and kept: {tally.refused}")
    for fault in tally.faults:
        print(fault)
    print(f"lost, doubled or shown without being in the log: {len(tally.faults)}")
    sys.exit(1 if tally.faults else 0)


if __name__ == "__main__":
    main()
