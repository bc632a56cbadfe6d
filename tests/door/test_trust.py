"""The page that says how to trust the service, the links that lead to it, and the cookies of both ports."""

import hashlib
import re
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient

from service.web.app import create_app
from service.web.door import names
from service.web.pairing import COOKIE, SECURE_COOKIE
from tests.server.conftest import settings_in

HOME = "192.168.7.5"
PHONE = ("192.168.7.20", 40000)


@pytest.fixture(scope="module")
def app(tmp_path_factory):
    with pytest.MonkeyPatch.context() as patch:
        for place in ("service.web.door.names", "service.web.pairing", "service.web.routes.host.trust"):
            patch.setattr(f"{place}.lan_address", lambda: HOME)
        folder = tmp_path_factory.mktemp("trust")
        made = create_app(replace(settings_in(folder), lan=True, https_port=8443, names=("bench.local", "b.example")))
        with TestClient(made, base_url="http://bench.local"):
            yield made


def at(app, root, client=PHONE, **more):
    return TestClient(app, base_url=root, client=client, **more)


@pytest.fixture
def phone(app):
    return at(app, f"http://{HOME}:8000")


@pytest.fixture
def secure_phone(app):
    return at(app, f"https://{HOME}:8443")


def token(app):
    return app.state.service.pairing.link().partition("#join=")[2]


def test_a_phone_that_is_not_paired_reads_how_to_trust(phone, app):
    page = phone.get("/trust")
    assert page.status_code == 200
    assert f'data-secure="https://{HOME}:8443"' in page.text
    assert page.text.count("<svg") == 2
    assert phone.get("/api/batches").status_code == 401
    for path in re.findall(r'(?:href|src)="(/[^"#]+)"', page.text):
        assert phone.get(path).status_code == 200, path


def test_the_certificate_is_the_one_whose_fingerprint_is_shown(phone, app):
    answer = phone.get("/trust/ca.crt")
    assert answer.headers["content-type"] == "application/x-x509-ca-cert"
    shown = re.search(r'<code id="fingerprint">(.*?)</code>', phone.get("/trust").text)[1].replace("<br>", ":")
    assert shown.strip(":") == hashlib.sha256(answer.content).digest().hex(":").upper()
    assert b"PRIVATE" not in answer.content


def test_the_page_may_ask_the_port_with_tls_and_nobody_else(phone):
    policy = phone.get("/trust").headers["content-security-policy"]
    assert f"connect-src 'self' https://{HOME}:8443;" in policy
    assert "script-src 'self';" in policy
    assert phone.get("/trust/seen").headers["cross-origin-resource-policy"] == "cross-origin"
    assert phone.get("/healthz").headers["cross-origin-resource-policy"] == "same-origin"


@pytest.mark.parametrize(("language", "words"), [("de", "Fingerabdruck"), ("es", "huella")])
def test_it_speaks_the_readers_language(phone, language, words):
    page = phone.get("/trust", headers={"Accept-Language": language}).text
    assert f'<html lang="{language}">' in page
    assert words in page


def test_called_by_a_name_that_no_certificate_may_have_it_leads_to_the_address(app):
    page = at(app, "http://b.example:8000").get("/trust").text
    assert f'data-secure="https://{HOME}:8443"' in page


def test_the_codes_link_leads_there_and_carries_the_token_unsent(app):
    assert re.fullmatch(rf"http://{HOME}:8000/trust#join=[\w-]{{43}}", app.state.service.pairing.link())


def test_without_a_certificate_of_its_own_nothing_changes(tmp_path):
    plain = create_app(replace(settings_in(tmp_path), lan=True, names=("bench.local",)))
    with TestClient(plain, base_url="http://bench.local") as c:
        assert "/trust" not in plain.state.service.pairing.link()
        for path in ("/trust", "/trust/ca.crt", "/trust/seen"):
            assert (c.get(path).status_code, c.get(path).json()["code"]) == (404, "no_authority")
        assert c.get("/api/about", headers={"Host": "localhost"}).status_code in (200, 401)
    assert not (tmp_path / "data" / "tls").exists()


def test_an_address_that_is_no_homes_gets_no_promise(app, monkeypatch):
    monkeypatch.setattr("service.web.pairing.lan_address", lambda: "203.0.113.9")
    assert app.state.service.pairing.link().startswith("http://203.0.113.9:8000/#join=")


def test_cookies_of_tls_never_leave_it(app, phone, secure_phone):
    """RFC 6265, 4.1.2.5 (Secure); the prefix `__Host-` of its successor's draft wants Path=/ and no Domain."""
    joined = secure_phone.post("/api/join", json={"token": token(app)})
    told = joined.headers["set-cookie"]
    assert told.startswith(f"{SECURE_COOKIE}=")
    assert {"secure", "httponly", "path=/", "samesite=strict"} <= {p.strip().lower() for p in told.split(";")}
    assert "domain" not in told.lower()
    assert secure_phone.get("/api/about").json()["trust"] is True
    stolen = {"Cookie": told.partition(";")[0]}
    assert phone.get("/api/about", headers=stolen).status_code == 401  # and no port without TLS takes it


def test_a_phone_that_joined_without_tls_stays_joined_with_it(app, phone):
    told = phone.post("/api/join", json={"token": token(app)}).headers["set-cookie"]
    assert told.startswith(f"{COOKIE}=")
    assert "secure" not in told.lower()
    assert phone.get("/api/about").status_code == 200
    again = at(app, f"https://{HOME}:8443", cookies={COOKIE: told.partition(";")[0].partition("=")[2]})
    assert again.get("/api/about").status_code == 200


def test_another_address_of_this_computer_is_answered_soon(app, monkeypatch):
    phone = at(app, "http://10.9.8.7:8000")
    assert phone.get("/healthz").status_code == 421
    monkeypatch.setattr("service.web.door.names.lan_address", lambda: "10.9.8.7")
    later = names.time.monotonic() + 60
    monkeypatch.setattr("service.web.door.names.time.monotonic", lambda: later)
    assert phone.get("/healthz").status_code == 200
    assert at(app, "http://10.9.8.8:8000").get("/healthz").status_code == 421


def test_a_hostile_host_is_answered_nowhere(app):
    for host in ("evil.example", f"{HOME}.evil.example", '"><script>', ""):
        assert at(app, "http://x").get("/trust", headers={"Host": host}).status_code == 421
