"""The page that says how a phone comes to trust the bench: words, drawings, the fingerprint to compare.

The names of menus are those of phones' settings as their makers call them in each language (from memory): they differ a
little from version to version, which the page says.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path

from jinja2 import Environment, FileSystemLoader, StrictUndefined, Template

from service.authority.root import Root
from stripread.words import _, spoken

FILES = Path(__file__).parent / "files"


@dataclass(frozen=True)
class Family:
    """Phones whose settings are alike: how to know them, the steps, which rows of the drawing are marked.

    What a phone's own screen says stands between asterisks.
    """

    name: str
    picture: str
    steps: tuple[str, ...]
    marked: tuple[int, ...]
    switch: bool


def trust_page(root: Root, secure_root: str, port: int, *, local: bool) -> str:
    """The page as HTML; ``local``: it is shown on the bench computer itself, to be compared with."""
    return _template().render(page=_page(root, secure_root, port, local), language=spoken())


def rows_of(fingerprint: str) -> list[str]:
    """A fingerprint in rows of eight pairs, so that two screens can be compared row by row."""
    pairs = fingerprint.split(":")
    return [":".join(pairs[at : at + 8]) for at in range(0, len(pairs), 8)]


def _page(root: Root, secure_root: str, port: int, local: bool) -> dict[str, object]:
    opening = [
        _(
            "Without encryption anybody on this Wi-Fi can read along. With the bench computer's own certificate on a "
            "phone nobody can; there the page also opens without a connection, and may use the camera's live picture."
        ),
        _("It takes two minutes, once on each phone."),
    ]
    if local:
        opening.insert(0, _("This is the bench computer. On the phone the code's link leads to this page."))
    return {
        "title": _("An encrypted connection"),
        "opening": opening,
        "secure_root": secure_root,
        "trusted": _("This phone trusts the bench computer."),
        "compare_title": _("Compare"),
        "compare": _(
            "The same fingerprint stands in the bench computer's terminal and, on that computer, at "
            "http://localhost:{port}/trust. If it differs, stop: somebody is between this phone and the bench.",
            port=str(port),
        ),
        "fingerprint_rows": rows_of(root.fingerprint()),
        "take_title": _("Take the certificate"),
        "take": _("Download the certificate"),
        "settings_title": _("Trust it in the phone's settings"),
        "families": _families(),
        "search": _(
            'Menus differ a little: search the settings for "certificate". Compare the fingerprint there, too.'
        ),
        "open_title": _("Open the encrypted page"),
        "open": _("Open it"),
        "risk_title": _("What trusting it means"),
        "risk": [
            _(
                "The certificate says that it may vouch only for names and addresses of a home network, never for a "
                "site of the Internet. Its key stays on the bench computer, in the data folder, readable by its owner "
                "alone, and in no back-up. It ends on {day}.",
                day=f"{root.certificate.not_valid_after_utc:%Y-%m-%d}",
            ),
            _(
                "Some software does not heed such bounds. Trust it only if you trust who runs the bench computer, and "
                "remove it in the same place when you no longer need it."
            ),
        ],
        "without_title": _("Without"),
        "without": _(
            "Photos are read and logged just the same. Anybody on this Wi-Fi can read along, or take this phone's "
            "place: only in a network that you trust."
        ),
        "without_open": _("Go on without encryption"),
    }


def _families() -> list[Family]:
    return [
        Family(
            _("Phones whose settings have *General → VPN & Device Management*"),
            _("Settings with the rows to press: General, then VPN & Device Management, last a switch that is on"),
            (
                _("Allow the download. *Settings → General → VPN & Device Management*: press *stripread bench …*."),
                _("Press *Install*, and compare the fingerprint under *More details*."),
                _("*Settings → General → About → Certificate Trust Settings*: switch *stripread bench …* on."),
            ),
            (1, 3, 4),
            True,
        ),
        Family(
            _("Phones whose settings have *Security → Encryption & credentials*"),
            _("Settings with the rows to press: Security, then Encryption & credentials, then Install a certificate"),
            (
                _("*Settings → Security → Encryption & credentials → Install a certificate → CA certificate*."),
                _("Read the warning; press *Install anyway*. The phone asks for its own lock code."),
                _("Choose the file *stripread-bench.crt* under *Downloads*."),
            ),
            (0, 2, 3),
            False,
        ),
    ]


@cache
def _template() -> Template:
    made = Environment(loader=FileSystemLoader(FILES), autoescape=True, undefined=StrictUndefined)
    return made.get_template("trust.html.j2")
