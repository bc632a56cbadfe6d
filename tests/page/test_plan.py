"""The calculators and everything that can be written down, in a real browser of a phone's size."""

import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.by import By
from selenium.webdriver.common.keys import Keys

from tests.page.phone import Phone, fits
from tests.page.test_page import NAMELESS, READABLE, SMALL, complaints
from tests.server.calls import HTTP

pytestmark = pytest.mark.slow  # a real browser


@pytest.fixture
def phone(browser, server, batch, tmp_path):
    complaints(browser)  # what the pages before this one complained of is not ours
    return Phone(browser, server.url, tmp_path).open()


def _notes(server, batch):
    return [(n["kind"], n["data"]) for n in HTTP.get(f"{server.url}/api/batches/{batch}/notes").json()]


def _open(phone, name):
    box = phone.by_id(name)
    box.find_element(By.TAG_NAME, "summary").click()
    return box


def test_lye_for_the_wet_chloride_that_was_weighed(phone, batch, server, browser):
    assert phone.write_down("weight", grams="1", grams_unit="lb", moisture="30", moisture_to="20") == ""
    assert _notes(server, batch) == [
        ("weight", {"of": "chloride", "grams": pytest.approx(453.59237), "moisture": [0.2, 0.3]})
    ]
    box = _open(phone, "plan-lye")
    mass = box.find_element(By.NAME, "chloride_g")
    phone.until(lambda: mass.get_attribute("value") == "453.592")  # what was weighed stands there already
    assert box.find_element(By.NAME, "moisture").get_attribute("value") == "20"
    phone.fill(box, portions="3", lye_excess="2")
    phone.press("plan-lye", "Work it out")
    said = box.find_element(By.CLASS_NAME, "worked")
    phone.until(lambda: "Dry chloride" in said.text)
    # By hand: 453.592 g, 70 to 80 % of it dry: 318 to 363 g, 340 in the middle; of it 0.7526 is silver.
    assert "340 g (318 g to 363 g), silver in it 256 g (239 g to 273 g)" in said.text
    assert "in each of 3 portions" in said.text
    assert "Lye alone at 80 °C: Leaves" in said.text
    assert "not proof" in said.text
    assert "never lye into hot water" in said.text
    assert "Local law" in said.text
    for check in (READABLE, SMALL, NAMELESS):
        assert browser.execute_script(check) == []
    assert fits(browser)
    phone.fill(box, moisture_to="120")
    assert said.text == ""  # an answer never stands below what it does not answer
    phone.press("plan-lye", "Work it out")
    phone.until(lambda: box.find_element(By.CLASS_NAME, "trouble").text)
    assert _notes(server, batch)[1:] == []  # working it out writes nothing down
    assert not [c for c in complaints(browser) if "422" not in c]


def test_washes_with_the_keyboard_alone(phone, browser):
    browser.execute_script("document.querySelector('#plan-wash summary').focus()")

    def press(*keys):
        ActionChains(browser).send_keys(*keys).perform()

    press(Keys.ENTER, Keys.TAB, "80", Keys.TAB, Keys.TAB, "700", Keys.TAB, Keys.TAB, "5", Keys.ENTER)
    said = phone.by_id("plan-wash").find_element(By.CLASS_NAME, "worked")
    phone.until(lambda: "held back in each wash" in said.text)
    assert "About 10 % is held back" in said.text  # 80 mL of 780 mL
    assert "All 5 L in" in said.text
    assert said.find_elements(By.CSS_SELECTOR, "tr.best")
    first = said.find_elements(By.CSS_SELECTOR, "tbody tr")[0].text
    assert first == "1 5 64 42"  # one wash with all of it leaves 80 / 5080, or half as much again
    assert fits(browser)
    assert "go by the readings" in said.text
    assert complaints(browser) == []


# kind, what is typed, what the log keeps
EVERYTHING = [
    ("decant", {"name": "wash 1", "litres": "900", "litres_unit": "ml", "settled_h": "90", "settled_h_unit": "min",
                "looks": "hazy", "temp_c": "77", "temp_c_unit": "degF"},
     {"name": "wash 1", "litres": 0.9, "settled_h": 1.5, "looks": "hazy", "temp_c": pytest.approx(25.0)}),
    ("used", {"what": "lye", "grams": "2,5", "grams_unit": "kg"}, {"what": "lye", "grams": 2500.0}),
    ("vessel", {"retained_l": "80", "retained_l_unit": "ml", "papers": "2"}, {"retained_l": 0.08, "papers": 2.0}),
    ("ammonia_test", {"ml": "5", "mol_l": "2", "on_solid": "yes"}, {"ml": 5.0, "mol_l": 2.0, "on_solid": True}),
    ("acidified", {"ph": "2"}, {"ph": 2.0}),
    ("melt", {"powder_g": "197", "powder_g_unit": "g", "flux_g": "0.02", "flux_g_unit": "kg"},
     {"powder_g": 197.0, "flux_g": 20.0}),
    ("bar", {"name": "bar 1", "grams": "120", "grams_unit": "g", "assay": "990", "assay_to": "995"},
     {"name": "bar 1", "grams": 120.0, "assay": [0.99, 0.995]}),
    ("acid_rinse", {"acid_mol": "0.1", "oxide_silver_g": "3", "oxide_silver_g_unit": "g"},
     {"acid_mol": 0.1, "oxide_silver_g": 3.0}),
    ("poured", {"what": "washes", "litres": "2", "litres_unit": "l", "ph": "1,5", "interval": "1.2",
                "interval_to": "1.9", "metals": "silver, copper"},
     {"what": "washes", "litres": 2.0, "ph": 1.5, "interval": [1.2, 1.9], "metals": ["silver", "copper"]}),
    ("mixed", {"ph": "6.2"}, {"ph": 6.2}),
    ("emptied", {"what": "the town's collection"}, {"what": "the town's collection", "silver": "left in"}),
]  # fmt: skip


def test_everything_that_the_log_takes_can_be_written_down(phone, batch, server):
    for kind, typed, _ in EVERYTHING:
        assert phone.write_down(kind, **typed) == ""
    assert _notes(server, batch) == [(kind, kept) for kind, _, kept in EVERYTHING]


def test_the_tail_of_the_job_is_worked_out_and_reminded_of(phone, batch, server, browser):
    """Dosing by volume and by portions, acid from its bottle, a melt; and the test vial that waits for acid."""
    asked = {
        "volume": ({"water_g": "600", "sludge_g": "682.05", "temp_c": "20"}, "Dry chloride"),
        "portions": ({"portion": "0:95 %; 20:60-68 %; 20:31-40 %"}, "is still pale and it falls"),
        "acid": ({"litres": "2", "bottle": "31 %, 1.15 g/ml"}, "dissolves up to 10 g of chalk"),
        "melt": (
            {"powder_g": "200", "powder_g_unit": "g", "bar": "120:995 ‰; 77/69.6"},
            "From powder to bar 3 g were lost",
        ),
    }
    for name, (typed, words) in asked.items():
        browser.execute_script("arguments[0].scrollIntoView({ block: 'center' })", phone.by_id(f"plan-{name}"))
        box = _open(phone, f"plan-{name}")
        phone.until(lambda box=box: box.find_elements(By.TAG_NAME, "form"))
        phone.fill(box, **typed)
        phone.press(f"plan-{name}", "Work it out")
        said = box.find_element(By.CLASS_NAME, "worked")
        trouble = box.find_element(By.CLASS_NAME, "trouble")
        phone.until(lambda said=said, trouble=trouble: said.text or trouble.text)
        assert words in said.text, (name, said.text, trouble.text)
        assert "Local law" in said.text
    assert phone.write_down("ammonia_test", ml="5", mol_l="2") == ""
    phone.until(lambda: browser.find_elements(By.CSS_SELECTOR, "#reminders [role=alert]"))
    assert "Acidify the vial" in phone.by_id("reminders").text
    phone.until(lambda: "(to do: 1)" in phone.by_id("batch").find_element(By.CSS_SELECTOR, "option:checked").text)
    for check in (READABLE, SMALL, NAMELESS):
        assert browser.execute_script(check) == []
    assert fits(browser)
    assert phone.write_down("acidified", ph="2") == ""
    phone.until(lambda: not browser.find_elements(By.ID, "reminders"))
    assert complaints(browser) == []


def test_a_slip_is_told_of_and_struck_out(phone, batch, server):
    assert phone.write_down("strike") == "Nothing is written down yet."
    phone.by_id("dialog-cancel").click()
    assert "ph: sour" in phone.write_down("poured", what="acid", litres="1", ph="sour").lower()
    phone.by_id("dialog-cancel").click()
    assert phone.write_down("poured", what="acid", litres="1") == ""
    assert phone.write_down("strike", why="that was another vessel", who="A.") == ""
    (_, _), (kind, data) = _notes(server, batch)
    assert kind == "strike"
    assert (data["why"], data["who"]) == ("that was another vessel", "A.")
