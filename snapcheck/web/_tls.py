"""A certificate of our own, for a room without one: encrypted, and the same at every start."""

from __future__ import annotations

import ipaddress
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta
from pathlib import Path

from snapcheck.outfiles import write_whole

_DAYS = 120


def certificate(folder: Path, names: Sequence[str]) -> tuple[Path, Path, str]:
    """Certificate and key (PEM files), made where there is none that holds for these names, and the
    certificate's SHA-256 fingerprint.

    Args:
        folder: where they lie, for their owner alone.
        names: host names and addresses.
    """
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    file, key_file = folder / "certificate.pem", folder / "certificate-key.pem"
    if file.exists() and key_file.exists():
        there = x509.load_pem_x509_certificate(file.read_bytes())
        said = there.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
        if {str(n.value) for n in said} >= set(names) and there.not_valid_after_utc > datetime.now(
            UTC
        ) + timedelta(days=7):
            return file, key_file, _fingerprint(there.fingerprint(hashes.SHA256()))
    key = ec.generate_private_key(ec.SECP256R1())
    subject = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "snapcheck bench")])
    begin = datetime.now(UTC) - timedelta(hours=1)
    made = (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(subject)
        .public_key(key.public_key())
        .serial_number(x509.random_serial_number())
        .not_valid_before(begin)
        .not_valid_after(begin + timedelta(days=_DAYS))
        .add_extension(x509.SubjectAlternativeName([_general(name) for name in names]), critical=False)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .sign(key, hashes.SHA256())
    )
    key_file.touch(mode=0o600)
    write_whole(
        key_file,
        key.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        ),
    )
    write_whole(file, made.public_bytes(serialization.Encoding.PEM))
    return file, key_file, _fingerprint(made.fingerprint(hashes.SHA256()))


def _general(name: str):  # type: ignore[no-untyped-def]
    from cryptography import x509

    try:
        return x509.IPAddress(ipaddress.ip_address(name))
    except ValueError:
        return x509.DNSName(name)


def _fingerprint(digest: bytes) -> str:
    return ":".join(f"{byte:02X}" for byte in digest)
