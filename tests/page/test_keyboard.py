"""A whole batch by the keyboard alone: started, photographed, weighed, taken through every stage, closed."""

import pytest
from selenium.webdriver.common.action_chains import ActionChains
from selenium.webdriver.common.keys import Keys

from tests.page.phone import Phone, card_like
from tests.server.calls import HTTP

pytestmark = pytest.mark.slow  # a real browser
MOST = 200  # presses of Tab to come round the page once
# Whether what has the focus is what is looked for, and whether a person sees that it has it.
AT = """
const [selector, words] = arguments, at = document.activeElement;
if (!at.matches(selector) || !at.textContent.trim().startsWith(words)) return null;
const seen = [at, at.closest("label, .button")].filter(Boolean).map((one) => getComputedStyle(one));
return seen.some((style) => style.outlineStyle !== "none" && parseFloat(style.outlineWidth) >= 2);
"""


class Keyboard:
    """Somebody without mouse and touch."""

    def __init__(self, phone: Phone) -> None:
        self.phone, self.browser = phone, phone.browser
        self.unseen: list[str] = []

    def press(self, *keys: str) -> None:
        ActionChains(self.browser).send_keys(*keys).perform()

    def to(self, selector: str, words: str = "") -> "Keyboard":
        """Go on by Tab until what is looked for has the focus."""
        for _ in range(MOST):
            found = self.browser.execute_script(AT, selector, words)
            if found is not None:
                if not found:
                    self.unseen.append(f"{selector} {words}")
                return self
            self.press(Keys.TAB)
        raise AssertionError(f"Tab never comes to {selector} {words}")

    def dialog(self, **values: str) -> None:
        """Fill the dialog that is open, and send it off."""
        self.phone.until(lambda: self.phone.by_id("dialog").is_displayed())
        for name, value in values.items():
            self.to(f"#dialog [name={name}]").press(value)
        self.to("#dialog button.main").press(Keys.ENTER)


@pytest.fixture
def keyboard(browser, server, tmp_path):
    phone = Phone(browser, server.url, tmp_path).open()
    phone.until(lambda: phone.by_id("start").is_displayed())
    return Keyboard(phone)


def test_a_whole_batch(keyboard, server, tmp_path):
    phone = keyboard.phone
    keyboard.to("#new-batch").press(Keys.ENTER)
    phone.until(lambda: phone.by_id("dialog").is_displayed())
    keyboard.to("#dialog [name=name]").press("Chloride of June", Keys.ENTER)
    phone.until(lambda: "Chloride of June" in phone.by_id("batch").text)
    batch = HTTP.get(f"{server.url}/api/batches").json()[0]["id"]
    for wash in (1, 2):
        photo = tmp_path / f"wash-{wash}.jpg"
        photo.write_bytes(card_like(wash) + f"#{wash} FAKE:ph={2 * wash}.00;".encode())
        if wash > 1:  # so soon after the first it would be another photo of that one
            keyboard.to("#wash-more").press(Keys.ENTER)
        keyboard.to("#camera")
        keyboard.browser.switch_to.active_element.send_keys(str(photo))  # the system's own window, in between
        phone.wait_for_entries(batch, wash)
    assert [entry["log"]["wash"] for entry in phone.entries(batch)] == [1, 2]
    keyboard.to("#stage button", "Write down").press(Keys.ENTER)
    keyboard.dialog()
    phone.until(lambda: "Mass" in phone.by_id("dialog").text)
    keyboard.dialog(grams="412,5")
    phone.until(lambda: not phone.by_id("dialog").is_displayed())
    notes = HTTP.get(f"{server.url}/api/batches/{batch}/notes").json()
    assert [note["data"]["grams"] for note in notes if note["kind"] == "weight"] == [412.5]
    stages = int(phone.by_id("stage").text.partition("Stage 1 of ")[2].split()[0].rstrip(":.,"))
    for stage in range(2, stages + 1):
        keyboard.to("#stage button", "Go on").press(Keys.ENTER)
        keyboard.dialog(
            reason="seen with my own eyes", **({"who": "M."} if stage == 2 else {})
        )  # it knows the name then
        phone.until(lambda number=stage: f"Stage {number} of" in phone.by_id("stage").text)
    keyboard.to("#close").press(Keys.ENTER)
    phone.until(lambda: HTTP.get(f"{server.url}/api/batches/{batch}").json()["closed_at"])
    assert keyboard.unseen == []
