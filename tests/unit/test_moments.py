"""Moments in their zone: the same moment wherever it is read, and never without its offset."""

from datetime import datetime

import pytest

from service import moments
from service.moments import Moment, checked_zone, in_zone, server_zone, spoken, zone_or_utc, zone_words
from stripread.errors import CallError


def test_a_moment_is_shown_in_its_batch_s_zone_with_the_offset():
    seen = Moment("2026-05-12T11:58:03.250000+00:00", "America/Chicago", "exif_zone")
    assert seen.text == "2026-05-12 06:58 -05:00"
    assert seen.local == "2026-05-12T06:58:03.250000-05:00"
    assert datetime.fromisoformat(seen.local) == datetime.fromisoformat(seen.at)
    assert "with its zone" in seen.told


@pytest.mark.parametrize(
    ("zone", "summer", "winter"),
    [
        ("America/Chicago", "-05:00", "-06:00"),
        ("Asia/Kolkata", "+05:30", "+05:30"),
        ("Europe/Lisbon", "+01:00", "+00:00"),
        ("UTC", "+00:00", "+00:00"),
    ],
)
def test_offsets_go_with_the_season(zone, summer, winter):
    """IANA time zone database, as ``zoneinfo`` reads it."""
    assert spoken(in_zone("2026-07-01T12:00:00+00:00", zone)).endswith(summer)
    assert spoken(in_zone("2026-12-01T12:00:00+00:00", zone)).endswith(winter)
    words = zone_words(zone, "2026-07-01T12:00:00+00:00", None, "2026-12-01T12:00:00+00:00")
    assert words.startswith(zone)
    assert zone == "UTC" or (f"UTC{summer}" in words and f"UTC{winter}" in words)


@pytest.mark.parametrize("name", ["", "Mars/Olympus", "../etc/passwd", "America", "utc+2", "CET\x00", "x" * 5000])
def test_what_is_no_zone_is_refused_and_never_looked_up(name):
    with pytest.raises(CallError, match=r"no such zone.*such as"):
        checked_zone(name)
    assert zone_or_utc(name) == "UTC"
    assert in_zone("2026-05-12T11:58:00+00:00", name) == "2026-05-12T11:58:00+00:00"


@pytest.mark.parametrize("text", ["", "soon", "9999-99-99", "2026-05-12T11:58:00"])
def test_what_names_no_moment_stays_as_it_is(text):
    assert in_zone(text, "Asia/Tokyo") == text
    assert spoken("soon") == "soon"
    assert spoken("2026-05-12T11:58:00") == "2026-05-12 11:58"  # no offset is made up


def test_the_end_of_time_does_no_harm():
    assert in_zone("9999-12-31T23:59:59+00:00", "Asia/Tokyo") == "9999-12-31T23:59:59+00:00"


def test_this_computer_s_zone(monkeypatch, tmp_path):
    monkeypatch.setenv("TZ", ":Asia/Tokyo")
    assert server_zone() == "Asia/Tokyo"
    monkeypatch.setenv("TZ", "JST-9")  # a rule, no name: the next place is asked
    assert server_zone() in moments._known()
    monkeypatch.delenv("TZ")
    monkeypatch.setattr(moments.os.path, "realpath", lambda _: "/usr/share/zoneinfo/Europe/Lisbon")
    assert server_zone() == "Europe/Lisbon"
    monkeypatch.setattr(moments.os.path, "realpath", lambda place: place)
    monkeypatch.setattr(moments, "Path", lambda _: tmp_path / "none")
    assert server_zone() == "UTC"


def test_a_file_s_own_time(tmp_path):
    path = tmp_path / "a.jpg"
    assert moments.file_time(path) is None
    path.write_bytes(b"x")
    assert datetime.fromisoformat(moments.file_time(path)).tzinfo is not None
