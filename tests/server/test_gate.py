"""Who may come in, from where, how often; and what the service tells about a photo's owner."""

import io
import time
from dataclasses import replace

import pytest
from fastapi.testclient import TestClient
from PIL import Image

from service.web.app import create_app
from service.web.pairing import COOKIE
from service.web.rates import Buckets
from service.web.serving import _say
from tests.server.conftest import a_photo, settings_in

PHONE = ("192.168.7.20", 40000)


@pytest.fixture(scope="module")
def lan(tmp_path_factory):
    """A service for the network, and its app."""
    folder = tmp_path_factory.mktemp("lan")
    app = create_app(replace(settings_in(folder), lan=True, names=("bench.local",)))
    with TestClient(app, base_url="http://bench.local"):
        yield app
    # the workers end with the client's lifespan


@pytest.fixture
def phone(lan):
    return TestClient(lan, base_url="http://bench.local", client=PHONE)


@pytest.fixture
def bench(lan):
    return TestClient(lan, base_url="http://localhost", client=("127.0.0.1", 40000))


def _token(app) -> str:
    return app.state.service.pairing.link().partition("#join=")[2]


def test_a_phone_must_be_paired(phone, lan):
    refused = phone.get("/api/batches")
    assert (refused.status_code, refused.json()["code"]) == (401, "not_paired")
    assert refused.headers["content-type"] == "application/problem+json"
    assert phone.get("/").status_code == 200  # the page itself: it must be there to join
    joined = phone.post("/api/join", json={"token": _token(lan)})
    assert joined.status_code == 204
    cookie = joined.headers["set-cookie"].lower()
    assert all(word in cookie for word in ("httponly", "samesite=strict", "path=/"))
    assert phone.get("/api/batches").status_code == 200


def test_the_cookie_is_secure_with_tls(tmp_path):
    app = create_app(replace(settings_in(tmp_path), lan=True, tls=True))
    with TestClient(app, base_url="https://localhost") as c:
        assert "secure" in c.post("/api/join", json={"token": _token(app)}).headers["set-cookie"].lower()
        assert app.state.service.pairing.link().startswith("https://")


def test_a_wrong_token_does_not_pair(phone):
    assert phone.post("/api/join", json={"token": "guess"}).status_code == 403
    assert phone.get("/api/batches").status_code == 401


def test_a_revoked_phone_is_out_at_once(phone, bench, lan):
    phone.post("/api/join", json={"token": _token(lan)})
    newest = bench.get("/api/sessions").json()[-1]
    assert bench.delete(f"/api/sessions/{newest['id']}").status_code == 204
    assert phone.get("/api/batches").status_code == 401
    assert bench.delete(f"/api/sessions/{newest['id']}").status_code == 404


def test_a_new_link_ends_the_old_one(phone, bench, lan):
    old = _token(lan)
    assert bench.post("/api/pairing/renew").status_code == 204
    assert phone.post("/api/join", json={"token": old}).status_code == 403
    assert len(_token(lan)) >= 43  # 32 random bytes


def _lan_app(tmp_path, **more):
    return create_app(replace(settings_in(tmp_path, **more), lan=True, names=("bench.local",)))


def _joined(app, address="192.168.7.20"):
    phone = TestClient(app, base_url="http://bench.local", client=(address, 40000))
    return phone, phone.post("/api/join", json={"token": _token(app)}).status_code


def test_a_link_lets_in_so_many_phones_and_says_so(tmp_path):
    app = _lan_app(tmp_path, link_joins=2)
    with TestClient(app, base_url="http://localhost", client=("127.0.0.1", 1)) as bench:
        assert bench.get("/api/pairing").json()["joins_left"] == 2
        assert [_joined(app)[1] for _ in range(3)] == [204, 204, 403]
        shown = bench.get("/api/pairing").json()
        assert (shown["joins_left"], shown["over"]) == (0, True)
        bench.post("/api/pairing/renew")
        assert _joined(app)[1] == 204


def test_a_link_grows_too_old(tmp_path, monkeypatch):
    app = _lan_app(tmp_path)
    with TestClient(app, base_url="http://localhost", client=("127.0.0.1", 1)) as bench:
        assert _joined(app)[1] == 204
        app.state.service.pairing._ends_at -= 12 * 3600
        assert bench.get("/api/pairing").json()["over"]
        assert _joined(app)[1] == 403


def test_the_bounds_of_a_link_are_shown_on_the_bench_computer_alone(tmp_path, capsys):
    app = _lan_app(tmp_path)
    with TestClient(app, base_url="http://localhost", client=("127.0.0.1", 1)):
        phone, _ = _joined(app)
        assert phone.get("/api/pairing").json()["code"] == "only_here"
        _say(app.state.service.settings, app.state.service)
    assert "It lets in 9 phones until" in capsys.readouterr().out


def test_a_session_ends_on_the_server(tmp_path, monkeypatch):
    """The cookie is sent as a thief would: by hand, with no jar that forgets it."""
    app = _lan_app(tmp_path, session_age=100.0)
    with TestClient(app, base_url="http://bench.local"):
        cookie = {"Cookie": f"{COOKIE}={_joined(app)[0].cookies[COOKIE]}"}
        thief = TestClient(app, base_url="http://bench.local", client=PHONE)
        assert thief.get("/api/batches", headers=cookie).status_code == 200
        later = time.time() + 101
        monkeypatch.setattr("service.web.pairing.time.time", lambda: later)
        assert thief.get("/api/batches", headers=cookie).status_code == 401
    app = _lan_app(tmp_path, session_age=100.0)  # nor does a restart bring it back
    with TestClient(app, base_url="http://bench.local", client=PHONE) as again:
        assert again.get("/api/batches", headers=cookie).status_code == 401


def test_of_too_many_phones_the_one_that_joined_first_goes(tmp_path):
    app = _lan_app(tmp_path, sessions=2)
    with TestClient(app, base_url="http://bench.local"):
        phones = [_joined(app)[0] for _ in range(3)]
        assert [phone.get("/api/batches").status_code for phone in phones] == [401, 200, 200]
        kept = [s.revoked_at is None for s in app.state.service.pairing.all()]
        assert kept == [False, True, True]


@pytest.mark.parametrize(
    ("addresses", "last"),
    [
        (["2001:db8:1:2::1", "2001:db8:1:2::2", "2001:db8:1:2:ffff::3"], 429),  # one /64
        (["2001:db8:1:2::1", "2001:db8:1:2::2", "2001:db8:1:3::1"], 403),
        (["192.0.2.1", "::ffff:192.0.2.1", "192.0.2.1"], 429),
        (["192.0.2.1", "192.0.2.1", "192.0.2.2"], 403),
    ],
)
def test_joins_are_limited_for_each_network(tmp_path, addresses, last):
    app = _lan_app(tmp_path, joins_per_minute=2)
    with TestClient(app, base_url="http://bench.local"):
        codes = [
            TestClient(app, base_url="http://bench.local", client=(address, 1))
            .post("/api/join", json={"token": "guess"})
            .status_code
            for address in addresses
        ]
    assert codes == [403, 403, last]


def test_pairing_is_managed_only_on_the_bench_computer(phone, bench, lan):
    phone.post("/api/join", json={"token": _token(lan)})
    for method, path in (("GET", "/api/sessions"), ("GET", "/api/pairing/qr.svg"), ("POST", "/api/pairing/renew")):
        assert phone.request(method, path).json()["code"] == "only_here"
    assert bench.get("/api/pairing/qr.svg").headers["content-type"].startswith("image/svg+xml")


def test_a_cookie_outlives_the_service_and_only_its_hash_is_kept(tmp_path):
    settings = replace(settings_in(tmp_path), lan=True, names=("bench.local",))
    app = create_app(settings)
    with TestClient(app, base_url="http://bench.local", client=PHONE) as c:
        c.post("/api/join", json={"token": _token(app)})
        secret = c.cookies[COOKIE]
    with TestClient(create_app(settings), base_url="http://bench.local", client=PHONE, cookies={COOKIE: secret}) as c:
        assert c.get("/api/batches").status_code == 200
    assert secret.encode() not in b"".join(p.read_bytes() for p in settings.data.glob("log.sqlite3*"))


@pytest.mark.parametrize(
    "headers",
    [
        {"Origin": "http://evil.example"},
        {"Origin": "null"},
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site", "Origin": "http://testserver:9"},
    ],
)
def test_posts_from_other_sites_are_refused(client, headers):
    refused = client.post("/api/batches", json={"name": "x"}, headers=headers)
    assert (refused.status_code, refused.json()["code"]) == (403, "cross_site")


def test_posts_from_the_page_itself_pass(client):
    headers = {"Origin": "http://testserver", "Sec-Fetch-Site": "same-origin"}
    assert client.post("/api/batches", json={"name": "x"}, headers=headers).status_code == 201


def test_a_foreign_host_name_is_refused(client):
    assert client.get("/healthz", headers={"Host": "evil.example"}).status_code == 421


@pytest.mark.parametrize("path", ["/", "/app.js", "/api/batches", "/nowhere"])
def test_every_answer_has_strict_headers(client, path):
    headers = client.get(path).headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "unsafe" not in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "no-referrer"
    assert headers["x-frame-options"] == "DENY"


def test_the_page_has_no_inline_script_or_style(client):
    page = client.get("/").text
    assert page.count("<script") == page.count("<script src=")
    assert "<style" not in page
    assert " style=" not in page
    assert " on" not in page.replace(" on ", "  ")[: page.find("<body>")]


def test_joining_is_limited(phone, lan):
    codes = [phone.post("/api/join", json={"token": "guess"}).status_code for _ in range(15)]
    assert codes[-1] == 429
    assert phone.post("/api/join", json={"token": _token(lan)}).headers["retry-after"]


def test_buckets_fill_again(monkeypatch):
    at = [100.0]
    monkeypatch.setattr("service.web.rates.time.monotonic", lambda: at[0])
    buckets = Buckets(60)
    assert [buckets.take("a") for _ in range(61)] == [0] * 60 + [1]
    assert buckets.take("b") == 0
    at[0] += 1.0
    assert (buckets.take("a"), buckets.take("a")) == (0, 1)


def _photo_with_a_story(fmt: str) -> bytes:
    exif = Image.Exif()
    exif[0x010F] = "SECRETMAKER"  # the phone
    exif[0x013B] = "SECRETOWNER"  # the artist
    exif[0x0112] = 6  # turned: must survive
    exif.get_ifd(0x8825)[2] = (48.0, 51.0, 30.0)  # latitude
    exif.get_ifd(0x8825)[1] = "N"
    image = Image.effect_noise((320, 240), 40).convert("RGB")
    out = io.BytesIO()
    more = {"comment": b"SECRETCOMMENT"} if fmt == "JPEG" else {}
    image.save(out, fmt, exif=exif, **more)
    return out.getvalue() + b"PK\x03\x04SECRETTAIL" + a_photo()[-20:]


@pytest.mark.parametrize("fmt", ["JPEG", "PNG", "WEBP", "TIFF"])
def test_what_is_served_tells_no_place_and_no_owner(send, client, fmt, data):
    story = _photo_with_a_story(fmt)
    reading = send(story).json()
    for what in ("photo", "thumbnail"):
        served = client.get(f"/api/readings/{reading['log']['id']}/{what}")
        assert served.headers["content-type"] == "image/jpeg"
        assert b"SECRET" not in served.content
        assert b"PK\x03\x04" not in served.content
        image = Image.open(io.BytesIO(served.content))
        assert not image.getexif().get_ifd(0x8825)
        turned = image.getexif().get(0x0112, 1) == 6
        assert (image.width < image.height) != turned  # upright, or still saying that it is turned
    kept = data / "photos" / reading["sha256"][:2] / reading["sha256"]
    assert kept.read_bytes() == story  # the evidence
