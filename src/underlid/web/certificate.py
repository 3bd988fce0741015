"""A home certificate authority, and the certificate by which this computer shows its devices who it is.

The authority is made once and kept; a phone that has it installed trusts what it signs. To keep that harmless it is
bound to addresses that are never on the internet (name constraints, RFC 5280 section 4.2.1.10): whoever steals its key
can pretend to be a computer on a home network, and no site on the internet. The certificate itself is made anew when
the addresses change or its end is near.
"""

from __future__ import annotations

import ssl
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID

from underlid.files import write_whole
from underlid.web.devices import FOLDER, own_folder
from underlid.web.network import HOME_NETWORKS, address_of

CA_FILE, LEAF_FILE = "ca.pem", "certificate.pem"  # each with its key
CA_LASTS = timedelta(days=3650)
LEAF_LASTS = timedelta(days=397)  # phones refuse certificates that last much longer
RENEW_BEFORE = timedelta(days=30)
HOME_DOMAINS = ("localhost", "local", "home.arpa")  # RFC 6761, 6762 and 8375: never on the internet


class UnreadableCertificate(ValueError):
    """The kept certificate authority is damaged."""


@dataclass(frozen=True, slots=True)
class HomeCertificate:
    """The authority, and the file that holds this computer's key and certificate."""

    authority: x509.Certificate
    file: Path

    def context(self) -> ssl.SSLContext:
        """How the server speaks https."""
        made = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        made.minimum_version = ssl.TLSVersion.TLSv1_2
        made.load_cert_chain(self.file)
        return made


def home_certificate(journal: Path, names: tuple[str, ...], now: datetime) -> HomeCertificate:
    """The certificate for these names and addresses, made where it is missing, for others, or about to end."""
    folder = journal / FOLDER
    own_folder(folder)
    kept = _kept_authority(folder / CA_FILE)
    if kept is None or _ends(kept[0]) - now < RENEW_BEFORE:
        kept = _new_authority(now)
        _keep(folder / CA_FILE, kept[1])
    authority, pem = kept
    leaf = folder / LEAF_FILE
    if not _holds(leaf, authority, names, now):
        _keep(leaf, _signed(authority, pem, names, now))
    return HomeCertificate(authority, leaf)


def authority_of(journal: Path) -> x509.Certificate | None:
    """The authority of a journal, without its key; None if it was never needed."""
    kept = _kept_authority(journal / FOLDER / CA_FILE)
    return None if kept is None else kept[0]


def fingerprint(certificate: x509.Certificate) -> str:
    """SHA-256 of a certificate as phones show it."""
    return certificate.fingerprint(hashes.SHA256()).hex(":").upper()


def as_pem(certificate: x509.Certificate) -> bytes:
    """A certificate as a file to install."""
    return certificate.public_bytes(Encoding.PEM)


def _keep(path: Path, data: bytes) -> None:
    write_whole(path, data)  # the folder lets nobody else in meanwhile
    path.chmod(0o600)


def _ends(certificate: x509.Certificate) -> datetime:
    return certificate.not_valid_after_utc


def _kept_authority(path: Path) -> tuple[x509.Certificate, bytes] | None:
    if not path.exists():
        return None
    pem = path.read_bytes()
    try:
        load_pem_private_key(pem, None)
        return x509.load_pem_x509_certificate(pem), pem
    except ValueError:
        raise UnreadableCertificate(
            f"{path} is damaged: delete it, start the server again, and install the new certificate on your devices."
        ) from None


def _holds(leaf: Path, authority: x509.Certificate, names: tuple[str, ...], now: datetime) -> bool:
    """Whether the kept certificate is for these names, of this authority, and not about to end."""
    if not leaf.exists():
        return False
    try:
        kept = x509.load_pem_x509_certificate(leaf.read_bytes())
        kept.verify_directly_issued_by(authority)
        said = kept.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    except Exception:  # whatever is wrong with it, a new one mends it
        return False
    return set(said) == {_general(name) for name in names} and _ends(kept) - now >= RENEW_BEFORE


def _general(name: str) -> x509.GeneralName:
    address = address_of(name)
    return x509.DNSName(name) if address is None else x509.IPAddress(address)


def _new_authority(now: datetime) -> tuple[x509.Certificate, bytes]:
    """An authority for addresses at home, with its key."""
    key = ec.generate_private_key(ec.SECP256R1())
    name = _named(f"underlid at home, {now.astimezone(UTC):%-d %b %Y}")
    permitted = [*map(x509.DNSName, HOME_DOMAINS), *map(x509.IPAddress, HOME_NETWORKS)]
    certificate = (
        _begun(name, name, key.public_key(), now, now + CA_LASTS)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_may(sign_certificates=True), critical=True)
        .add_extension(x509.NameConstraints(permitted, None), critical=True)
        .sign(key, hashes.SHA256())
    )
    return certificate, _with_key(key, certificate)


def _signed(authority: x509.Certificate, authority_pem: bytes, names: tuple[str, ...], now: datetime) -> bytes:
    """A certificate for this computer, with its key."""
    issuer = load_pem_private_key(authority_pem, None)
    assert isinstance(issuer, ec.EllipticCurvePrivateKey)  # as _new_authority makes it
    identifier = authority.extensions.get_extension_for_class(x509.SubjectKeyIdentifier).value
    key = ec.generate_private_key(ec.SECP256R1())
    certificate = (
        _begun(_named("underlid"), authority.subject, key.public_key(), now, now + LEAF_LASTS)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_may(sign_certificates=False), critical=True)
        .add_extension(x509.ExtendedKeyUsage([ExtendedKeyUsageOID.SERVER_AUTH]), critical=False)
        .add_extension(x509.SubjectAlternativeName(list(map(_general, names))), critical=False)
        .add_extension(x509.AuthorityKeyIdentifier.from_issuer_subject_key_identifier(identifier), critical=False)
        .sign(issuer, hashes.SHA256())
    )
    return _with_key(key, certificate)


def _named(common_name: str) -> x509.Name:
    return x509.Name(
        [
            x509.NameAttribute(NameOID.ORGANIZATION_NAME, "underlid"),
            x509.NameAttribute(NameOID.COMMON_NAME, common_name),
        ]
    )


def _begun(
    subject: x509.Name, issuer: x509.Name, key: ec.EllipticCurvePublicKey, now: datetime, end: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(key)
        .serial_number(x509.random_serial_number())
        .not_valid_before(now - timedelta(days=1))  # for phones whose clock is behind
        .not_valid_after(end)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key), critical=False)
    )


def _may(*, sign_certificates: bool) -> x509.KeyUsage:
    return x509.KeyUsage(
        digital_signature=not sign_certificates, key_cert_sign=sign_certificates, crl_sign=sign_certificates,
        content_commitment=False, key_encipherment=False, data_encipherment=False, key_agreement=False,
        encipher_only=False, decipher_only=False,
    )  # fmt: skip


def _with_key(key: ec.EllipticCurvePrivateKey, certificate: x509.Certificate) -> bytes:
    private = key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption())
    return private + certificate.public_bytes(Encoding.PEM)
