"""Both ports of a started service: real handshakes, by the standard library's own TLS."""

import asyncio
import io
import signal
import socket
import ssl
import subprocess
import sys
import tarfile
import time
import urllib.error
from datetime import UTC, datetime, timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding

from service.authority.keeper import Keeper
from service.web.door.second_port import SecondPort, TwoPortServer
from tests.door.conftest import fetch, trusting
from tests.server.nursery import ROOT
from tests.server.running import free_port


def test_both_ports_answer_and_the_certificate_holds(two_ports):
    assert fetch(f"{two_ports.url}/healthz").status == 200
    answer = fetch(f"{two_ports.https}/healthz", two_ports.trusting())
    assert answer.status == 200
    assert fetch(f"{two_ports.https}/", two_ports.trusting()).status == 200
    by_address = two_ports.https.replace("localhost", "127.0.0.1")
    assert fetch(f"{by_address}/healthz", two_ports.trusting()).status == 200


def test_who_does_not_trust_it_is_not_connected(two_ports):
    for context in (ssl.create_default_context(), None):
        with pytest.raises(urllib.error.URLError, match="certificate verify failed"):
            fetch(f"{two_ports.https}/healthz", context)


@pytest.mark.parametrize("path", ["/", "/healthz", "/trust", "/api/about", "/api/batches"])
def test_no_browser_is_told_to_come_by_tls_for_ever(two_ports, path):
    """HSTS (RFC 6797) would shut a phone out of the port without TLS, and of every other service of this name."""
    for answer in (fetch(two_ports.url + path), fetch(two_ports.https + path, two_ports.trusting())):
        assert answer.headers["strict-transport-security"] is None


def test_a_back_up_has_no_keys(two_ports):
    secret = (two_ports.folder / "data" / "tls" / "authority.pem").read_text()
    assert "PRIVATE KEY" in secret
    content = fetch(f"{two_ports.url}/api/backup").read()
    with tarfile.open(fileobj=io.BytesIO(content)) as tape:
        names = tape.getnames()
    assert "log.sqlite3" in names
    assert not [name for name in names if "tls" in name or "pem" in name]
    assert b"PRIVATE KEY" not in content
    assert secret.splitlines()[2].encode() not in content


def test_the_terminal_says_where_and_by_which_certificate(two_ports):
    said = two_ports.said.read_text()
    assert f"http://localhost:{two_ports.port}/" in said
    if "is no address of a home network" not in said:  # as this machine's network is
        assert f":{two_ports.secure_port}/" in said
        assert "fingerprint" in said


@pytest.mark.slow
def test_a_handshake_that_does_not_come_is_ended(two_ports):
    with socket.create_connection(("127.0.0.1", two_ports.secure_port)) as silent:
        silent.settimeout(20)
        started = time.monotonic()
        assert silent.recv(100) == b""
        assert 5 < time.monotonic() - started < 15


@pytest.mark.parametrize("how", [signal.SIGTERM, signal.SIGHUP])  # the last: its terminal's window is closed (POSIX)
def test_it_stops_by_plan_with_a_connection_on_each_port(tmp_path, how):
    if signal.getsignal(how) is signal.SIG_IGN:
        pytest.skip("these tests run under nohup")
    from tests.door.conftest import TwoPorts

    with TwoPorts(tmp_path) as running:
        fetch(f"{running.https}/healthz", running.trusting())
        running.process.send_signal(how)
        assert running.process.wait(20) == 0


def shown(port):
    """The certificate that a connection is shown."""
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    context.check_hostname, context.verify_mode = False, ssl.CERT_NONE
    with socket.create_connection(("127.0.0.1", port)) as plain, context.wrap_socket(plain) as link:
        return x509.load_der_x509_certificate(link.getpeercert(binary_form=True))


def test_a_renewed_certificate_is_shown_without_a_restart(tmp_path):
    """Real handshakes before and after; one that is open meanwhile goes on."""
    now = [datetime.now(UTC)]
    keeper = Keeper(tmp_path, lambda: frozenset({"localhost"}), lambda: now[0])

    async def check():
        port = free_port()
        server = await asyncio.start_server(lambda r, w: w.write(b"."), "127.0.0.1", port, ssl=keeper.context)
        async with server:
            ca = trusting(keeper.root.certificate.public_bytes(Encoding.DER))
            reader, writer = await asyncio.open_connection("localhost", port, ssl=ca, family=socket.AF_INET)
            first = await asyncio.to_thread(shown, port)
            now[0] += timedelta(days=80)
            assert keeper.renew()
            second = await asyncio.to_thread(shown, port)
            assert await reader.read(1) == b"."
            writer.close()
        return first, second

    first, second = asyncio.run(check())
    assert first.serial_number != second.serial_number
    assert second == keeper.leaf.certificate
    assert second.not_valid_after_utc - first.not_valid_after_utc > timedelta(days=70)


class Counted:
    """A keeper that only counts how often it was asked, and fails the first time."""

    def __init__(self):
        self.asked = 0

    def renew(self):
        self.asked += 1
        if self.asked == 1:
            raise OSError("the disk is full")


def test_the_server_looks_now_and_then_and_survives_a_full_disk():
    import uvicorn

    keeper = Counted()

    async def check():
        server = TwoPortServer(uvicorn.Config(lambda: None, log_level="critical"), None, SecondPort("", 1, keeper))
        for counter in range(1000):
            await server.on_tick(counter)
            if server._looking is not None:
                await server._looking

    asyncio.run(check())
    assert 3 <= keeper.asked <= 100  # within half a minute each time, and not at every tick


def run_serve(*words, folder):
    call = [sys.executable, "-m", "service.cli", "serve", *words]
    return subprocess.run(call, cwd=ROOT, check=False, capture_output=True, text=True, timeout=60)


def test_a_busy_port_is_one_clear_sentence(tmp_path):
    with socket.socket() as other:
        other.bind(("127.0.0.1", 0))
        other.listen()
        port = str(other.getsockname()[1])
        plain = run_serve("--port", port, "--data", str(tmp_path / "d"), folder=tmp_path)
        second = run_serve(
            "--lan", "--port", str(free_port()), "--https-port", port, "--data", str(tmp_path / "d"), folder=tmp_path
        )
    for done, option in ((plain, "--port"), (second, "--https-port")):
        assert done.returncode == 2
        assert len(done.stderr.splitlines()) == 1
        assert f"port {port}" in done.stderr
        assert f"or give {option}" in done.stderr
    assert not (tmp_path / "d").exists()


def test_a_second_start_on_the_same_folder_opens_the_page_and_ends(two_ports):
    data = str(two_ports.folder / "data")
    done = run_serve("--port", str(two_ports.port), "--data", data, folder=two_ports.folder)
    assert (done.returncode, done.stderr) == (0, "")
    assert f"stripread runs already at http://localhost:{two_ports.port}/" in done.stdout


def test_a_second_start_on_another_folder_is_refused(two_ports, tmp_path):
    done = run_serve("--port", str(two_ports.port), "--data", str(tmp_path / "d"), folder=tmp_path)
    assert done.returncode == 2
    assert "another stripread, with another folder" in done.stderr
    assert not (tmp_path / "d").exists()


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--lan", "--port", "8001", "--https-port", "8001"], "another than --port"),
        (["--demo", "--lan"], "only to be looked at"),
    ],
)
def test_wrong_calls(tmp_path, words, said):
    done = run_serve(*words, "--data", str(tmp_path / "d"), folder=tmp_path)
    assert done.returncode == 2
    assert said in done.stderr
