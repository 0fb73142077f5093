"""The certificate of this machine for telephones: made here, by nobody else, and kept.

A telephone cannot know it. So its fingerprint stands beside the code on this machine's screen,
where the two are compared by eye.
"""

import hashlib
import os
import secrets
from contextlib import suppress
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from ipaddress import ip_address
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes, serialization
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from ridelog.core.errors import RideLogError

FOLDER, FILE = "page", "certificate.pem"
# Telephones refuse certificates that live longer than 825 days (Apple, "Requirements for trusted
# certificates in iOS 13 and macOS 10.15", article HT210176, from memory); a year is enough.
_LIFE, _RENEWED_BEFORE = timedelta(days=397), timedelta(days=30)
# A telephone's clock may be behind this machine's.
_BACKDATED = timedelta(days=1)


@dataclass(frozen=True)
class Certificate:
    """A file with key and certificate, and the certificate's SHA-256 in hexadecimal pairs."""

    path: Path
    fingerprint: str


def certificate_for(book: Path, host: str, now: datetime | None = None) -> Certificate:
    """Return the certificate of an address of this machine, kept beside the book.

    The one of the last start is used again while it names the address and is not nearly too old,
    so that its fingerprint stays. RideLogError if it cannot be written.
    """
    now = now or datetime.now(UTC)
    place = book / FOLDER / FILE
    known = _known(place)
    if known is None or not _serves(known, host, now):
        key = ec.generate_private_key(ec.SECP256R1())
        known = _made(key, host, now)
        _write(place, key, known)
    digest = hashlib.sha256(known.public_bytes(serialization.Encoding.DER)).hexdigest().upper()
    return Certificate(place, ":".join(digest[k : k + 2] for k in range(0, len(digest), 2)))


def _known(place: Path) -> x509.Certificate | None:
    """Return the certificate of a file whose key belongs to it, else None."""
    try:
        data = place.read_bytes()
        known = x509.load_pem_x509_certificate(data)
        key = serialization.load_pem_private_key(data, password=None)
    except (OSError, ValueError, TypeError):
        return None
    form = (serialization.Encoding.DER, serialization.PublicFormat.SubjectPublicKeyInfo)
    same = known.public_key().public_bytes(*form) == key.public_key().public_bytes(*form)
    return known if same else None


def _serves(known: x509.Certificate, host: str, now: datetime) -> bool:
    try:
        names = known.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except (x509.ExtensionNotFound, ValueError):
        return False
    begins, ends = known.not_valid_before_utc, known.not_valid_after_utc
    inside = begins <= now <= ends - _RENEWED_BEFORE
    return inside and ip_address(host) in names.get_values_for_type(x509.IPAddress)


def _made(key: ec.EllipticCurvePrivateKey, host: str, now: datetime) -> x509.Certificate:
    """Return a certificate by RFC 5280 for one address, signed by its own key."""
    name = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, "ridelog on this network")])
    server = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH])
    return (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - _BACKDATED)
        .not_valid_after(now + _LIFE)
        # RFC 9525: a client looks for the address here alone.
        .add_extension(x509.SubjectAlternativeName([x509.IPAddress(ip_address(host))]), False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(server, critical=False)
        .sign(key, hashes.SHA256())
    )


def _write(place: Path, key: ec.EllipticCurvePrivateKey, made: x509.Certificate) -> None:
    """Put key and certificate into one file that only its user can read."""
    data = key.private_bytes(
        serialization.Encoding.PEM,
        serialization.PrivateFormat.PKCS8,
        serialization.NoEncryption(),
    ) + made.public_bytes(serialization.Encoding.PEM)
    part = place.with_name(f"{secrets.token_hex(8)}.part")
    try:
        place.parent.mkdir(mode=0o700, exist_ok=True)
        with os.fdopen(os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as out:
            out.write(data)
        os.replace(part, place)
    except OSError as error:
        with suppress(OSError):
            part.unlink()
        reason = (error.strerror or type(error).__name__).lower()
        raise RideLogError(
            f"{place}: the certificate for telephones cannot be written ({reason}).",
            "make the book's folder writable, or open the page without --lan.",
        ) from error
