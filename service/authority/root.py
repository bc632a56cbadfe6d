"""The authority itself: a key that stays in the data folder, and the certificate that phones may trust.

The certificate says what it may not do: sign another authority (path length 0), sign anything but certificates, vouch
for a name or address outside a home (name constraints; RFC 5280, sections 4.2.1.3, 4.2.1.9 and 4.2.1.10).
"""

from __future__ import annotations

import hashlib
import secrets
from dataclasses import dataclass
from datetime import datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.exceptions import InvalidSignature, UnsupportedAlgorithm
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    PublicFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import NameOID

from service.authority.names import constraints
from service.authority.private_file import read_private, write_private
from stripread.errors import CallError
from stripread.words import _

FILE = "authority.pem"
LIFETIME = timedelta(days=3650)  # chosen: trusted once by hand on every phone; nobody should have to do it each year
BACKDATED = timedelta(days=1)  # a phone's clock may be behind


@dataclass(frozen=True)
class Root:
    """Key and certificate of the authority."""

    key: ec.EllipticCurvePrivateKey
    certificate: x509.Certificate

    def der(self) -> bytes:
        """The certificate as phones take it."""
        return self.certificate.public_bytes(Encoding.DER)

    def fingerprint(self) -> str:
        """SHA-256 of the certificate as people compare it: pairs of digits, as in the phones' own settings."""
        return hashlib.sha256(self.der()).digest().hex(":").upper()


def pem_of(key: ec.EllipticCurvePrivateKey, *certificates: x509.Certificate) -> bytes:
    """A key and certificates in one file, so that they can't come apart."""
    text = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    return text + b"".join(certificate.public_bytes(Encoding.PEM) for certificate in certificates)


def pair_in(content: bytes) -> tuple[ec.EllipticCurvePrivateKey, x509.Certificate] | None:
    """The key and the first certificate of such a file; None where they are none, or don't belong to each other."""
    try:
        key = load_pem_private_key(content, None)
        certificate = x509.load_pem_x509_certificates(content)[0]
    except (ValueError, TypeError, UnsupportedAlgorithm, IndexError):
        return None
    if not isinstance(key, ec.EllipticCurvePrivateKey):
        return None
    whole = (Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    same = key.public_key().public_bytes(*whole) == certificate.public_key().public_bytes(*whole)
    return (key, certificate) if same else None


def make_root(now: datetime) -> Root:
    """A new authority, with a name that tells it from another of this program's on the same phone."""
    key = ec.generate_private_key(ec.SECP256R1())
    own = f"stripread bench {secrets.token_hex(4)}"
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, own)])
    usage = x509.KeyUsage(False, False, False, False, False, key_cert_sign=True, crl_sign=False, encipher_only=False,
                          decipher_only=False)  # fmt: skip
    certificate = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - BACKDATED)
        .not_valid_after(now + LIFETIME)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(usage, critical=True)
        .add_extension(constraints(), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .sign(key, hashes.SHA256())
    )
    return Root(key, certificate)


def kept_root(folder: Path, now: datetime) -> Root:
    """The authority of this folder; a new one where there is none, or where it has ended.

    Raises
    ------
    CallError
        Where its file is damaged: a new one in silence would have every phone refuse the page without a word why.
    """
    content = read_private(folder / FILE)
    if content is not None:
        pair = pair_in(content)
        if pair is None or not _signed_by_itself(pair[1]):
            raise CallError(
                _(
                    "the authority's file {path} is damaged: move it away for a new one, which each phone then has "
                    "to trust anew",
                    path=folder / FILE,
                )
            )
        if now < pair[1].not_valid_after_utc:
            return Root(*pair)
    root = make_root(now)
    write_private(folder / FILE, pem_of(root.key, root.certificate))
    return root


def _signed_by_itself(certificate: x509.Certificate) -> bool:
    try:
        certificate.verify_directly_issued_by(certificate)
    except (ValueError, TypeError, InvalidSignature):
        return False
    return True
