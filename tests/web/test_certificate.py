"""The certificate for telephones, against another reader of certificates: OpenSSL's own program."""

import shutil
import stat
import subprocess
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from ridelog.core.errors import RideLogError
from ridelog.web.certificate import certificate_for

NOW = datetime(2026, 4, 1, 12, tzinfo=UTC)
OPENSSL = shutil.which("openssl")


def openssl(*words: str) -> str:
    if OPENSSL is None:
        pytest.skip("no openssl program on this machine")
    return subprocess.run([OPENSSL, *words], check=True, capture_output=True, text=True).stdout


def test_openssl_finds_the_same_fingerprint_and_what_telephones_ask_for(tmp_path: Path) -> None:
    made = certificate_for(tmp_path, "192.168.7.5")
    said = openssl("x509", "-in", str(made.path), "-noout", "-fingerprint", "-sha256")
    assert said.strip().split("=")[1] == made.fingerprint
    # Apple, article HT210176, from memory: SHA-2, server authentication, the name among the
    # alternative names, no short RSA key.
    text = openssl("x509", "-in", str(made.path), "-noout", "-text")
    for words in ("ecdsa-with-SHA256", "TLS Web Server Authentication", "IP Address:192.168.7.5",
                  "CA:FALSE", "ASN1 OID: prime256v1"):  # fmt: skip
        assert words in text, words
    openssl("verify", "-CAfile", str(made.path), "-verify_ip", "192.168.7.5", str(made.path))


def test_it_is_kept_while_it_serves(tmp_path: Path) -> None:
    first = certificate_for(tmp_path, "192.168.7.5", NOW)
    later = certificate_for(tmp_path, "192.168.7.5", NOW + timedelta(days=366))
    assert later.fingerprint == first.fingerprint
    renewed = certificate_for(tmp_path, "192.168.7.5", NOW + timedelta(days=368))
    assert renewed.fingerprint != first.fingerprint
    elsewhere = certificate_for(tmp_path, "192.168.7.6", NOW + timedelta(days=368))
    assert elsewhere.fingerprint != renewed.fingerprint
    # A clock that was set back before the certificate begins.
    back = certificate_for(tmp_path, "192.168.7.6", NOW)
    assert back.fingerprint != elsewhere.fingerprint


@pytest.mark.parametrize("data", [b"", b"no certificate", b"-----BEGIN CERTIFICATE-----\nAA"])
def test_a_damaged_one_is_made_anew(tmp_path: Path, data: bytes) -> None:
    first = certificate_for(tmp_path, "192.168.7.5", NOW)
    whole = first.path.read_bytes()
    for content in (data, whole[: len(whole) // 2], whole[whole.index(b"-----BEGIN CERT") :]):
        first.path.write_bytes(content)
        assert certificate_for(tmp_path, "192.168.7.5", NOW).fingerprint != first.fingerprint


def test_only_its_user_reads_the_key(tmp_path: Path) -> None:
    made = certificate_for(tmp_path, "192.168.7.5", NOW)
    assert stat.S_IMODE(made.path.stat().st_mode) == 0o600
    assert stat.S_IMODE(made.path.parent.stat().st_mode) == 0o700
    assert [path.name for path in made.path.parent.iterdir()] == ["certificate.pem"]


def test_where_it_cannot_be_written_there_is_a_sentence(tmp_path: Path) -> None:
    (tmp_path / "page").write_text("in the way")
    with pytest.raises(RideLogError, match="certificate for telephones cannot be written"):
        certificate_for(tmp_path, "192.168.7.5", NOW)
