"""Every screen and dialog of the page, each as its name and the script that shows it on a page that is open."""

import json
import time
from pathlib import Path

from tests.page.phone import Phone
from tests.server.calls import HTTP

OPEN_ALL = "for (const d of document.querySelectorAll('main details')) d.open = true;"
KIND = "document.querySelector('input[name=kind][value={}]').click();"
CLICK = "document.querySelector('{}').click();"
# A form of the one dialog opens by its button; the second form of a note by saving the first.
NOTE = (
    CLICK.format("#stage .row button:last-child")
    + "const box = document.querySelector('#dialog [name=kind]'); box.value = '{}';"
    + "setTimeout(() => document.querySelector('#dialog button.main').click());"
)
# A strip that was found and not saved yet, and liquids ticked, as the phone keeps them.
PADS = {"of": "x", "roll": False, "width": 6, "length": 75, "outline": None, "reasons": []} | {
    "pads": [{"start": 2, "end": 8, "doubt": "pale 1"}, {"start": 9.5, "end": 15.5, "doubt": None}]
}
WHICH = "localStorage.setItem('first-said', '{}'); localStorage.setItem('first-pads', '{}')".format(
    json.dumps({"at": "strip", "counted": "3"}), json.dumps(PADS)
)
HAND = "localStorage.setItem('first-said', '{}')".format(
    json.dumps({"at": "liquids", "kind": "K-1", "own": "4.01 7", "liquids": ["limewater"]})
)
# Figures that the calculators can work with, whatever they ask for; what they refuse is a screen, too.
WORK_OUT = """
for (const d of document.querySelectorAll("#plan > details")) d.open = true;
setTimeout(() => {
  const own = { portion: "0:95 %; 20:60-68 %", bottle: "31 %, 1.15 g/ml", bar: "120:995 ‰; 77/69.6", lye: "" };
  for (const form of document.querySelectorAll("#plan form")) {
    for (const e of form.querySelectorAll("input, textarea"))
      if (["text", "textarea"].includes(e.type) && (e.name in own || !e.value)) e.value = own[e.name] ?? "20";
    form.requestSubmit();
  }
}, 1000);
"""
FIND = """
document.getElementById("find").open = true;
setTimeout(() => {
  document.querySelector("#find form details").open = true;
  document.querySelector("#find form").requestSubmit();
}, 800);
"""
COMPARE = """
document.getElementById("compare").open = true;
setTimeout(() => {
  for (const e of [...document.querySelectorAll("#compare input")].slice(0, 2)) e.checked = true;
  document.querySelector("#compare form").requestSubmit();
}, 800);
"""
SCREENS = {
    "the batch": "",
    "everything opened": OPEN_ALL + CLICK.format("#more"),
    "a tint": KIND.format("tint"),
    "a solid": KIND.format("solid"),
    "new batch": CLICK.format("#new-batch"),
    "rinse water": CLICK.format("#water"),
    "rename": CLICK.format("#rename"),
    "your name": CLICK.format("#name"),
    "zone": CLICK.format("#zone"),
    "another procedure": CLICK.format("#stage details button"),
    "go on all the same": CLICK.format("#stage .row button"),
    "where the silver is": CLICK.format("#vessels summary"),
    "worked out": WORK_OUT,
    "found": FIND,
    "compared": COMPARE,
    "correct an entry": CLICK.format("#answer .row button:last-child"),
    "write down": CLICK.format("#stage .row button:last-child"),
    "a weight": NOTE.format("weight"),
    "poured": NOTE.format("poured"),
    "correct a note": CLICK.format("#timeline li.note .row:last-child button"),
    "first day": "localStorage.setItem('first-said', '{\"at\":\"card\"}'); location.hash = '#first-day';",
    "which strip": f"{WHICH}; location.hash = '#first-day';",
    "liquids at hand": f"{HAND}; location.hash = '#first-day';",
    "profiles": "location.hash = '#profiles';",
    "benches": "location.hash = '#benches';",
    "how it was read": "location.hash = '#how-' + document.getElementById('answer').dataset.entry;",
}
# What lies where: a vessel that caught fines, and some of it spilt.
NOTES = (
    ("named_vessel", {"vessel": "Blue bucket", "what_for": "buffer"}),
    ("decant", {"name": "wash 1", "litres": 1, "looks": "cloudy", "chloride": 0.1, "into": "Blue bucket"}),
    ("spilled", {"vessel": "Blue bucket", "share": [0.4, 0.6]}),
)
LATE = {
    "another procedure": "#dialog[open]",
    "where the silver is": "#vessels .worked table",
    "worked out": "#plan .worked dl",
    "found": "#find .found li",
    "compared": "#compare .beside > p",
}
CLOSE = """
if (document.body.classList.contains("apart")) {
  history.replaceState(null, "", "/");
  dispatchEvent(new HashChangeEvent("hashchange"));
}
document.getElementById("dialog").close();
const told = "#plan .worked, #plan .trouble, #vessels .worked, #find .found, #compare .beside"; // what was told before
for (const d of document.querySelectorAll(told)) d.replaceChildren();
for (const d of document.querySelectorAll("main details")) d.open = false;
if (document.getElementById("how").open) document.getElementById("how").close();
if (!document.getElementById("strip-more").hidden) document.getElementById("more").click();
document.querySelector("input[name=kind][value=ph]").click();
scrollTo(0, 0);
"""


def filled(browser, server, folder: Path) -> Phone:
    """A page with readings of all kinds, one doubtful and one refused, notes, and a question that waits."""
    url = f"{server.url}/api/batches"
    HTTP.post(url, json={"name": "J-1"})
    batch = HTTP.post(url, json={"name": "J-2"}).json()["id"]
    phone = Phone(browser, server.url, folder).open()
    kind = {"name": "K-1", "range": [0, 14], "roll": True}
    HTTP.post(f"{server.url}/api/strip-kinds", json=kind).raise_for_status()
    for n, orders in enumerate(("ph=1.20", "doubt=2.10", "refuse", "ph=3.20"), 1):
        phone.snap(orders, wash=n)
        phone.wait_for_entries(batch, n)
    bench = HTTP.post(f"{server.url}/api/benches", json={"name": "B-1"}).json()["id"]
    HTTP.post(f"{server.url}/api/benches/{bench}/tokens").raise_for_status()
    test = {"kind": "ammonia_test", "data": {"ml": 2, "mol_l": 1}}  # its vial is to be acidified: a reminder
    HTTP.post(f"{url}/{batch}/notes", json=test).raise_for_status()
    for kind, data in NOTES:
        HTTP.post(f"{url}/{batch}/notes", json={"kind": kind, "data": data}).raise_for_status()
    for grams in (412, 400):
        data = {"of": "chloride", "grams": grams, "moisture": [0.2, 0.3]}
        HTTP.post(f"{url}/{batch}/notes", json={"kind": "weight", "data": data, "keep": True}).raise_for_status()
    return phone


def show(phone: Phone, name: str) -> None:
    """Show one of SCREENS, once what is loaded late for it has come."""
    phone.browser.execute_script(CLOSE)
    phone.browser.execute_script(SCREENS[name])
    if name in ("everything opened", "how it was read"):
        loaded = "return document.querySelectorAll('#find form, #how img').length"
        phone.until(lambda: phone.browser.execute_script(loaded))
        time.sleep(0.3)
    elif name in ("first day", "which strip", "liquids at hand", "profiles", "benches"):
        shown = "return document.querySelectorAll('#apart .alarm ~ .step .help, #apart .profile').length"
        phone.until(lambda: phone.browser.execute_script(shown))
        time.sleep(1)
        opened = "#apart :is(.help, #liquid-ticks, .profile > details)"
        phone.browser.execute_script(f"for (const d of document.querySelectorAll('{opened}')) d.open = true;")
        time.sleep(0.3)
    elif name in LATE:
        phone.until(lambda: phone.browser.find_elements("css selector", LATE[name]))
        time.sleep(0.3)
        seen = "document.querySelector(arguments[0]).scrollIntoView({ block: 'center' })"  # not beneath the bar
        phone.browser.execute_script(seen, LATE[name])
    elif name in ("a weight", "poured"):
        phone.until(
            lambda: phone.browser.execute_script(
                "return document.getElementById('dialog').open && !document.querySelector('#dialog [name=kind]')"
            )
        )


def speak(phone: Phone, language: str) -> None:
    """Open the page in a language, as if it had been chosen on it."""
    phone.browser.add_cookie({"name": "language", "value": language, "path": "/", "sameSite": "Strict"})
    phone.open()
