"""Everything that a person can enter on the page, by its buttons, each so that it is known again in the log."""

import itertools
import time
from dataclasses import dataclass
from typing import Any

from tests.page.phone import Phone
from tests.server.calls import HTTP

ACTIONS = ("photo", "batch", "note", "stage", "correction", "withdrawal", "struck", "rename")
_count = itertools.count(1)

# Opens the form behind a button, fills it, and saves it once or twice; the form may come a moment later.
FORM = """
const [open, first, values, taps, done] = [arguments[0], arguments[1], arguments[2], arguments[3], arguments[4]];
const dialog = document.getElementById("dialog");
const pause = (ms) => new Promise((go) => setTimeout(go, ms));
const fill = (said) => {
  for (const [name, value] of Object.entries(said)) {
    const box = dialog.querySelector(`[name="${name}"]`);
    if (box.type === "checkbox") box.checked = value; else box.value = value;
    box.dispatchEvent(new Event("input", { bubbles: true }));
  }
};
const offered = (b) => b.textContent.startsWith(open[1]) && b.checkVisibility();
const button = [...document.querySelectorAll(open[0])].find(offered);
if (!button) return done("no button");
button.click();
(async () => {
  if (first) {
    fill(first);
    dialog.querySelector("button.main").click();
    for (let n = 0; n < 200 && dialog.querySelector("[name=kind]"); n++) await pause(10);
  }
  if (!dialog.open) await pause(30);
  fill(values);
  for (let n = 0; n < taps; n++) dialog.querySelector("button.main").click();
  done("");
})();
"""
NOTE = """
const note = document.getElementById("note");
note.value = arguments[0];
note.dispatchEvent(new Event("input", { bubbles: true }));
"""
CLOSED = 'return !document.getElementById("dialog").open'
SAID = 'return document.getElementById("dialog-trouble").textContent'


@dataclass
class Entered:
    """What was entered, and how it is known in the log."""

    what: str
    mark: str


@dataclass
class Actor:
    """Acts on the page that its phone shows."""

    phone: Phone

    def act(self, what: str, *, taps: int = 1, wait: bool = True) -> Entered | None:
        """Enter one of ACTIONS; None where the page offers no way to now."""
        n = next(_count)
        mark = f"mark{n:05d}x"
        done = Entered(what, mark)
        if what == "photo":
            if self.phone.by_id("camera").get_attribute("disabled"):
                return None
            self.phone.browser.execute_script(NOTE, mark)
            self.phone.snap("ph=6.00")
            self.phone.until(lambda: self.phone.by_id("note").get_attribute("value") == "")
            return done
        who = {"by": "M.", "why": mark}
        open_, first, values = {
            "batch": (("#new-batch", ""), None, {"name": mark}),
            "note": (
                ("#stage button", "Write down"),
                {"kind": "decant"},
                {"name": mark, "litres": "1", "settled_h": "2"},
            ),
            "stage": (("#stage button", "Go on"), None, {"reason": mark, "who": "M."}),
            "correction": (("#answer button", "Correct"), None, {**who, "wash": str(n % 900 + 1)}),
            "withdrawal": (("#answer button", "Correct"), None, {**who, "withdraw": True}),
            "struck": (("#timeline .note button", "Withdraw"), None, who),
            "rename": (("#rename", ""), None, {"name": mark}),
        }[what]
        said = self.phone.browser.execute_async_script(FORM, open_, first, values, taps)
        if said:
            return None
        if wait:
            self.phone.until(
                lambda: self.phone.browser.execute_script(CLOSED) or self.phone.browser.execute_script(SAID)
            )
            refused = "" if self.phone.browser.execute_script(CLOSED) else self.phone.browser.execute_script(SAID)
            if refused:  # what is asked back while the form is open is not entered yet
                self.phone.browser.execute_script("document.getElementById('dialog').close()")
                return None
        return done


def told(url: str) -> Any:
    """What the service answers, asked again where it says that it will do later."""
    for _ in range(20):
        answer = HTTP.get(url)
        if answer.status_code != 503:
            break
        time.sleep(float(answer.headers.get("Retry-After", 1)))
    assert answer.status_code == 200, answer.text
    return answer.json()


def times_in_log(url: str, entered: Entered) -> int:
    """How often it is in the log."""
    batches = told(f"{url}/api/batches")
    if entered.what == "batch":
        opened = [told(f"{url}/api/batches/{b['id']}")["events"][0]["detail"]["name"] for b in batches]
        return opened.count(entered.mark)
    found = 0
    for batch in batches:
        at = f"{url}/api/batches/{batch['id']}"
        if entered.what == "rename":
            events = told(at)["events"]
            found += sum(e["what"] == "renamed" and e["detail"]["to"] == entered.mark for e in events)
        elif entered.what in ("note", "stage", "struck"):
            notes = told(f"{at}/notes")
            found += sum(entered.mark in (n["data"].get(f) for f in ("name", "reason", "why")) for n in notes)
        else:
            name = "note" if entered.what == "photo" else "why"
            entries = [e["log"] for e in told(f"{at}/readings")]
            own = [e for e in entries if e["corrects"] is None or entered.what != "photo"]
            found += sum(e[name] == entered.mark for e in own)
    return found
