"""The server's certificate: for the names and addresses that this computer has now, and not for long."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from service.authority.names import general_names
from service.authority.private_file import read_private, write_private
from service.authority.root import BACKDATED, Root, pair_in, pem_of

FILE = "server.pem"
# CA/Browser Forum, Baseline Requirements for TLS server certificates, 6.3.2 (certificates from 2020-09-01 on): should
# not be valid for more than 397 days. That is about authorities that everybody trusts; browsers hold to the like.
MOST = timedelta(days=397)
LIFETIME = timedelta(days=90)  # chosen: it is renewed by itself, so a short one costs nothing, and a lost key less
RENEWED_AT = 2 / 3  # chosen: of its life; a computer that is off for weeks still starts with a good one


@dataclass(frozen=True)
class Leaf:
    """The server's certificate and the file that the server loads it from, with its key."""

    certificate: x509.Certificate
    path: Path


def make_leaf(folder: Path, root: Root, names: frozenset[str], now: datetime) -> Leaf:
    """A new certificate with a new key, for those of ``names`` that the authority may vouch for."""
    key = ec.generate_private_key(ec.SECP256R1())
    ends = min(now + LIFETIME, root.certificate.not_valid_after_utc)
    usage = x509.KeyUsage(True, False, False, False, False, key_cert_sign=False, crl_sign=False, encipher_only=False,
                          decipher_only=False)  # fmt: skip
    certificate = (
        x509.CertificateBuilder()
        .subject_name(x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "stripread bench service")]))
        .issuer_name(root.certificate.subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(max(now - BACKDATED, root.certificate.not_valid_before_utc))
        .not_valid_after(ends)
        .add_extension(x509.SubjectAlternativeName(general_names(names)), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_public_key(root.key.public_key()), critical=False)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(root.key, hashes.SHA256())
    )
    write_private(folder / FILE, pem_of(key, certificate))
    return Leaf(certificate, folder / FILE)


def kept_leaf(folder: Path, root: Root, names: frozenset[str], now: datetime) -> Leaf:
    """The certificate of this folder; a new one where there is none, or where it won't do any more."""
    content = read_private(folder / FILE)
    pair = None if content is None else pair_in(content)
    if pair is None or due(pair[1], root, names, now):
        return make_leaf(folder, root, names, now)
    return Leaf(pair[1], folder / FILE)


def due(certificate: x509.Certificate, root: Root, names: frozenset[str], now: datetime) -> bool:
    """Whether it is time for a new one: ending soon, not yet begun, for other names, or of another authority."""
    try:
        certificate.verify_directly_issued_by(root.certificate)
        told = list(certificate.extensions.get_extension_for_class(x509.SubjectAlternativeName).value)
    except (ValueError, TypeError, InvalidSignature, x509.ExtensionNotFound):
        return True
    if told != general_names(names):
        return True
    begins, ends = certificate.not_valid_before_utc, certificate.not_valid_after_utc
    if now < begins:  # the clock was put back; before the authority itself begins no other would be better
        return begins > root.certificate.not_valid_before_utc
    return now >= begins + RENEWED_AT * (ends - begins)
