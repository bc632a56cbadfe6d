"""The authority and its certificates, judged by the verifier of `cryptography` (RFC 5280) and OpenSSL."""

import ipaddress
import shutil
import ssl
import stat
import subprocess
from datetime import UTC, datetime, timedelta

import pytest
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from service.authority import leaf as leaves
from service.authority.keeper import FOLDER, Keeper
from service.authority.names import NETWORKS, may_name
from service.authority.root import LIFETIME, kept_root
from stripread.errors import CallError

NOW = datetime(2026, 11, 27, 12, tzinfo=UTC)
NAMES = frozenset({"localhost", "127.0.0.1", "::1", "bench.local", "192.168.7.5"})


class Clock:
    """A clock and a network that a test moves."""

    def __init__(self):
        self.now, self.names = NOW, NAMES

    def keeper(self, folder):
        return Keeper(folder, lambda: self.names, lambda: self.now)


@pytest.fixture
def clock():
    return Clock()


@pytest.fixture
def keeper(tmp_path, clock):
    return clock.keeper(tmp_path)


def subject(name):
    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def verify(root, certificate, name, at=NOW):
    """As a browser does; raises where it would refuse."""
    verifier = PolicyBuilder().store(Store([root])).time(at).build_server_verifier(subject(name))
    return verifier.verify(certificate, [])


@pytest.mark.parametrize("name", sorted(NAMES))
def test_the_certificate_is_good_for_each_of_its_names(keeper, name):
    assert len(verify(keeper.root.certificate, keeper.leaf.certificate, name)) == 2


@pytest.mark.parametrize("name", ["other.local", "192.168.7.6", "example.org"])
def test_it_is_good_for_no_other(keeper, name):
    with pytest.raises(VerificationError):
        verify(keeper.root.certificate, keeper.leaf.certificate, name)


def by_the_key_of(root, *names, ca=False):
    """What a thief of the authority's key could sign."""
    key = ec.generate_private_key(ec.SECP256R1())
    return (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "thief")]))
        .issuer_name(root.certificate.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(NOW - timedelta(days=1))
        .not_valid_after(NOW + timedelta(days=30))
        .add_extension(x509.SubjectAlternativeName([subject(name) for name in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=ca, path_length=None), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(root.key.public_key()), critical=False)
        .sign(root.key, hashes.SHA256())
    )


def openssl(tmp_path, root, certificate, *words):
    """OpenSSL's own verdict (openssl-verify(1)), its strict checks of RFC 5280 included."""
    if shutil.which("openssl") is None:
        pytest.skip("the openssl command is not installed")
    for name, one in (("ca.pem", root), ("one.pem", certificate)):
        (tmp_path / name).write_bytes(one.public_bytes(Encoding.PEM))
    call = ["openssl", "verify", "-x509_strict", "-purpose", "sslserver", "-attime", str(int(NOW.timestamp())), *words]
    done = subprocess.run(
        [*call, "-CAfile", tmp_path / "ca.pem", tmp_path / "one.pem"], check=False, capture_output=True
    )
    return done.returncode, done.stderr.decode()


def test_openssl_takes_it(tmp_path, keeper):
    told = openssl(tmp_path, keeper.root.certificate, keeper.leaf.certificate, "-verify_ip", "192.168.7.5")
    assert told[0] == 0, told
    assert (
        openssl(tmp_path, keeper.root.certificate, keeper.leaf.certificate, "-verify_hostname", "example.org")[0] != 0
    )


@pytest.mark.parametrize("name", ["example.org", "bench.example", "8.8.8.8", "2001:db8::1", "172.32.0.1"])
def test_the_authority_is_bounded_to_a_home(tmp_path, keeper, name):
    """Even with its key: name constraints (RFC 5280, 4.2.1.10), by both verifiers; the same signer passes at home."""
    foreign = by_the_key_of(keeper.root, name)
    with pytest.raises(VerificationError):
        verify(keeper.root.certificate, foreign, name)
    code, said = openssl(tmp_path, keeper.root.certificate, foreign)
    assert code != 0
    assert "permitted subtree violation" in said
    at_home = by_the_key_of(keeper.root, "thief.local", "10.0.0.9")
    assert verify(keeper.root.certificate, at_home, "10.0.0.9")
    assert openssl(tmp_path, keeper.root.certificate, at_home)[0] == 0


def test_the_authority_signs_no_other_authority(keeper):
    told = keeper.root.certificate.extensions
    bounds = told.get_extension_for_class(x509.BasicConstraints)
    usage = told.get_extension_for_class(x509.KeyUsage)
    assert (bounds.critical, bounds.value.ca, bounds.value.path_length) == (True, True, 0)
    assert usage.critical
    assert usage.value.key_cert_sign
    assert not usage.value.digital_signature
    assert told.get_extension_for_class(x509.NameConstraints).critical


def test_its_life_keeps_to_the_bounds(keeper):
    """397 days: CA/Browser Forum, Baseline Requirements for TLS, 6.3.2, effective 2020-09-01."""
    leaf = keeper.leaf.certificate
    assert leaf.not_valid_after_utc - leaf.not_valid_before_utc <= timedelta(days=397)
    assert leaf.not_valid_after_utc <= keeper.root.certificate.not_valid_after_utc


def test_keys_are_their_owners_alone(tmp_path, clock):
    keeper = clock.keeper(tmp_path)
    folder = tmp_path / FOLDER
    files = sorted(folder.iterdir())
    assert [f.name for f in files] == ["authority.pem", "server.pem"]
    assert {stat.S_IMODE(f.stat().st_mode) for f in files} == {0o600}
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    for path, mode in ((folder, 0o755), *((f, 0o644) for f in files)):
        path.chmod(mode)  # as a careless copy leaves them
    assert clock.keeper(tmp_path).root.fingerprint() == keeper.root.fingerprint()
    assert {stat.S_IMODE(f.stat().st_mode) for f in files} == {0o600}
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700


def test_a_restart_keeps_both(tmp_path, clock):
    first, again = clock.keeper(tmp_path), clock.keeper(tmp_path)
    assert again.root.certificate == first.root.certificate
    assert again.leaf.certificate == first.leaf.certificate
    assert not again.renew()


def test_it_is_renewed_before_it_ends(tmp_path, clock, keeper):
    ends = keeper.leaf.certificate.not_valid_after_utc
    old = keeper.leaf.certificate
    clock.now = ends - timedelta(days=40)
    assert not keeper.renew()
    clock.now = ends - timedelta(days=20)
    assert keeper.renew()
    assert verify(keeper.root.certificate, keeper.leaf.certificate, "localhost", ends + timedelta(days=10))
    with pytest.raises(VerificationError):
        verify(keeper.root.certificate, old, "localhost", ends + timedelta(days=10))
    clock.now = keeper.leaf.certificate.not_valid_after_utc + timedelta(days=100)  # long off: renewed at the start
    assert verify(keeper.root.certificate, clock.keeper(tmp_path).leaf.certificate, "localhost", clock.now)


def test_a_changed_address_is_named(clock, keeper):
    clock.names = NAMES - {"192.168.7.5"} | {"10.1.2.3"}
    assert keeper.renew()
    assert verify(keeper.root.certificate, keeper.leaf.certificate, "10.1.2.3")
    with pytest.raises(VerificationError):
        verify(keeper.root.certificate, keeper.leaf.certificate, "192.168.7.5")
    assert not keeper.renew()


def test_a_name_outside_a_home_is_left_out(tmp_path, clock):
    clock.names = NAMES | {"bench.example.org", "203.0.113.9", "a name", "-x.local"}
    told = clock.keeper(tmp_path).leaf.certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName)
    assert "example" not in str(told.value)
    assert len(list(told.value)) == len(NAMES)


def test_a_clock_put_back_makes_no_endless_certificates(tmp_path, clock, keeper):
    clock.now = NOW - timedelta(days=400)
    before = keeper.leaf.certificate
    assert not keeper.renew()
    assert keeper.leaf.certificate == before
    clock.now = NOW + timedelta(days=200)
    keeper.renew()
    clock.now = NOW + timedelta(days=100)  # before the new one begins
    assert keeper.renew()


def test_an_authority_that_ended_is_replaced(tmp_path, clock, keeper):
    clock.now = NOW + LIFETIME + timedelta(days=1)
    again = clock.keeper(tmp_path)
    assert again.root.fingerprint() != keeper.root.fingerprint()
    assert verify(again.root.certificate, again.leaf.certificate, "localhost", clock.now)


@pytest.mark.parametrize("damage", ["cut", "other_key", "too_large", "link"])
def test_a_damaged_authority_is_said_and_not_replaced(tmp_path, clock, keeper, damage):
    path = tmp_path / FOLDER / "authority.pem"
    whole = path.read_bytes()
    if damage == "cut":
        path.write_bytes(whole[:400])
    elif damage == "other_key":
        other = clock.keeper(tmp_path / "other").root
        path.write_bytes((tmp_path / "other" / FOLDER / "authority.pem").read_bytes()[:241] + other.der())
    elif damage == "too_large":
        path.write_bytes(whole * 100)
    else:
        path.rename(tmp_path / "elsewhere.pem")
        path.symlink_to(tmp_path / "elsewhere.pem")
    with pytest.raises(CallError, match=r"authority\.pem"):
        clock.keeper(tmp_path)


@pytest.mark.parametrize("content", [b"", b"no pem", None])
def test_a_damaged_server_certificate_is_made_anew(tmp_path, clock, keeper, content):
    path = tmp_path / FOLDER / "server.pem"
    other = clock.keeper(tmp_path / "other")
    path.write_bytes(other.leaf.path.read_bytes() if content is None else content)  # None: of another authority
    again = clock.keeper(tmp_path)
    assert verify(again.root.certificate, again.leaf.certificate, "localhost")


def test_what_may_be_named():
    """Private networks as Python's own registry of IANA's special-purpose addresses has them (module ipaddress)."""
    assert all(network.is_private or network.is_link_local for network in NETWORKS)
    assert all(map(may_name, ("bench.local", "LOCALHOST", "a.home.arpa", "fd00::2", "169.254.1.1", "172.31.255.255")))
    assert not any(map(may_name, ("local.example", "notlocal", "", "x y.local", "172.32.0.0", "192.0.2.2", "fec0::1")))


def test_the_fingerprint_is_openssls(tmp_path, keeper):
    if shutil.which("openssl") is None:
        pytest.skip("the openssl command is not installed")
    path = tmp_path / "ca.der"
    path.write_bytes(keeper.root.der())
    call = ["openssl", "x509", "-inform", "DER", "-in", path, "-noout", "-fingerprint", "-sha256"]
    said = subprocess.run(call, check=True, capture_output=True, text=True).stdout
    assert said.strip().partition("=")[2] == keeper.root.fingerprint()


def test_the_context_takes_no_old_tls(keeper):
    """RFC 8996: TLS 1.0 and 1.1 must not be used."""
    assert keeper.context.minimum_version >= ssl.TLSVersion.TLSv1_2


def test_the_bound_is_where_it_is_looked_for(tmp_path):
    assert leaves.LIFETIME < leaves.MOST
    assert kept_root(tmp_path, NOW).certificate.subject != kept_root(_made(tmp_path / "b"), NOW).certificate.subject


def _made(folder):
    folder.mkdir()
    return folder
