"""When the page is opened in the bench computer's browser: only where somebody sees it; never a reason to fail."""

import webbrowser

import pytest

from service.settings import Settings
from service.web import serving
from service.web.door.browser import open_page, somebody_sees

DESK = {"DISPLAY": ":0"}


@pytest.mark.parametrize(
    ("environ", "platform", "seen"),
    [
        (DESK, "linux", True),
        ({"WAYLAND_DISPLAY": "wayland-0"}, "linux", True),
        ({}, "linux", False),
        ({"DISPLAY": ""}, "linux", False),
        ({}, "darwin", True),
        ({}, "win32", True),
        (DESK | {"SSH_CONNECTION": "192.0.2.1 1 192.0.2.2 22"}, "linux", False),
        ({"SSH_CONNECTION": "192.0.2.1 1 192.0.2.2 22"}, "darwin", False),
        (DESK | {"SYSTEMD_EXEC_PID": "77"}, "linux", False),
        (DESK | {"SYSTEMD_EXEC_PID": "76"}, "linux", True),  # a terminal's, which a unit started
        (DESK | {"PYTEST_CURRENT_TEST": "x"}, "linux", False),
    ],
)
def test_it_is_opened_where_somebody_sees_it(environ, platform, seen):
    assert somebody_sees(environ, platform, process=77) is seen


def test_no_test_opens_one():
    assert not somebody_sees()


def test_a_browser_that_fails_is_no_fault(monkeypatch):
    asked = []

    def broken(url):
        asked.append(url)
        raise webbrowser.Error("could not locate runnable browser")

    monkeypatch.setattr(webbrowser, "open", broken)
    open_page("http://localhost:8000/", wait=True)
    assert asked == ["http://localhost:8000/"]


@pytest.mark.parametrize(("wanted", "opened"), [(True, ["http://localhost:8000/"]), (False, [])])
def test_a_second_press_opens_the_page(monkeypatch, tmp_path, capsys, wanted, opened):
    seen = []
    monkeypatch.setattr(serving, "runs_already", lambda settings: True)
    monkeypatch.setattr(serving, "somebody_sees", lambda: True)
    monkeypatch.setattr(serving, "open_page", lambda url, wait=False: seen.append(url))
    serving.serve(Settings(tmp_path), serving.Start(browser=wanted))
    assert seen == opened
    assert "runs already" in capsys.readouterr().out
