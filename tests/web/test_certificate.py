"""The home certificate authority, looked at by the TLS library and by what it may not sign."""

import ssl
import stat
from datetime import UTC, datetime, timedelta

import pytest
import trustme
from cryptography import x509
from cryptography.x509.verification import PolicyBuilder, Store, VerificationError

from underlid.web.certificate import (
    CA_FILE,
    CA_LASTS,
    LEAF_LASTS,
    UnreadableCertificate,
    as_pem,
    authority_of,
    fingerprint,
    home_certificate,
)
from underlid.web.devices import FOLDER
from underlid.web.network import address_of

NAMES = ("192.168.1.5", "fd00::2", "shed.local")
NOW = datetime(2026, 2, 3, 21, tzinfo=UTC)


def leaf_of(made):
    return x509.load_pem_x509_certificate(made.file.read_bytes())


def greet(client, server, name):
    """A TLS handshake in memory; the client's view of the other end."""
    to_server, to_client = ssl.MemoryBIO(), ssl.MemoryBIO()
    one = client.wrap_bio(to_client, to_server, server_hostname=name)
    two = server.wrap_bio(to_server, to_client, server_side=True)
    for _ in range(5):
        for end in (one, two):
            try:
                end.do_handshake()
            except ssl.SSLWantReadError:
                continue
    return one.version()


def trusting(authority):
    return ssl.create_default_context(cadata=as_pem(authority).decode())


@pytest.mark.parametrize("name", NAMES)
def test_a_device_that_installed_it_trusts_this_computer(tmp_path, name):
    made = home_certificate(tmp_path, NAMES, datetime.now(UTC))
    assert greet(trusting(made.authority), made.context(), name) in {"TLSv1.2", "TLSv1.3"}


def test_other_names_and_other_devices_do_not(tmp_path):
    made = home_certificate(tmp_path, NAMES, datetime.now(UTC))
    with pytest.raises(ssl.SSLCertVerificationError, match="mismatch"):
        greet(trusting(made.authority), made.context(), "192.168.1.6")
    with pytest.raises(ssl.SSLCertVerificationError, match="unable to get local issuer"):
        greet(ssl.create_default_context(), made.context(), NAMES[0])


@pytest.mark.parametrize("name", ["bank.example.org", "8.8.8.8", "2001:4860:4860::8888", "localhost.example.org"])
def test_who_steals_its_key_cannot_pretend_to_be_a_site_on_the_internet(tmp_path, name):
    made = home_certificate(tmp_path, NAMES, datetime.now(UTC))
    pem = (tmp_path / FOLDER / CA_FILE).read_bytes()
    server = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
    trustme.CA.from_pem(pem, pem).issue_cert(name).configure_cert(server)
    with pytest.raises(ssl.SSLCertVerificationError, match="permitted subtree"):
        greet(trusting(made.authority), server, name)


def test_a_stricter_verifier_takes_it_too(tmp_path):
    """cryptography's own verifier follows the profile of browsers closely; it asks for what OpenSSL lets pass."""
    made = home_certificate(tmp_path, NAMES, NOW)
    builder = PolicyBuilder().store(Store([made.authority])).time(NOW)
    chain = builder.build_server_verifier(x509.DNSName("shed.local")).verify(leaf_of(made), [])
    assert chain == [leaf_of(made), made.authority]
    with pytest.raises(VerificationError):
        builder.build_server_verifier(x509.DNSName("other.local")).verify(leaf_of(made), [])


def test_it_lasts_no_longer_than_phones_accept(tmp_path):
    leaf = leaf_of(home_certificate(tmp_path, NAMES, NOW))
    assert leaf.not_valid_after_utc - leaf.not_valid_before_utc <= timedelta(days=398)
    said = leaf.extensions.get_extension_for_class(x509.SubjectAlternativeName).value
    assert said.get_values_for_type(x509.IPAddress) == [address_of(name) for name in NAMES[:2]]
    assert said.get_values_for_type(x509.DNSName) == ["shed.local"]


def test_it_is_kept_while_it_serves(tmp_path):
    first = home_certificate(tmp_path, NAMES, NOW)
    leaf = leaf_of(first)
    again = home_certificate(tmp_path, tuple(reversed(NAMES)), NOW + timedelta(days=300))
    assert (again.authority, leaf_of(again)) == (first.authority, leaf)


@pytest.mark.parametrize(
    ("names", "now"), [((*NAMES, "10.0.0.7"), NOW), (NAMES[:1], NOW), (NAMES, NOW + LEAF_LASTS - timedelta(days=29))]
)
def test_other_addresses_or_a_near_end_make_another_of_the_same_authority(tmp_path, names, now):
    first = home_certificate(tmp_path, NAMES, NOW)
    leaf = leaf_of(first)
    second = home_certificate(tmp_path, names, now)
    assert second.authority == first.authority
    assert leaf_of(second) != leaf
    leaf_of(second).verify_directly_issued_by(first.authority)


def test_an_authority_near_its_end_is_made_anew(tmp_path):
    first = home_certificate(tmp_path, NAMES, NOW)
    second = home_certificate(tmp_path, NAMES, NOW + CA_LASTS)
    assert second.authority != first.authority
    leaf_of(second).verify_directly_issued_by(second.authority)


def test_keys_are_for_the_owner_alone(tmp_path):
    made = home_certificate(tmp_path, NAMES, NOW)
    folder = tmp_path / FOLDER
    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert {stat.S_IMODE(path.stat().st_mode) for path in folder.iterdir()} == {0o600}
    assert b"PRIVATE KEY" in made.file.read_bytes()
    authority = authority_of(tmp_path)
    assert authority == made.authority
    assert b"PRIVATE" not in as_pem(authority)


def test_a_damaged_leaf_is_replaced_and_a_damaged_authority_told(tmp_path):
    made = home_certificate(tmp_path, NAMES, NOW)
    made.file.write_text("not a certificate")
    leaf_of(home_certificate(tmp_path, NAMES, NOW)).verify_directly_issued_by(made.authority)
    (tmp_path / FOLDER / CA_FILE).write_text("not a certificate")
    with pytest.raises(UnreadableCertificate, match="delete it"):
        home_certificate(tmp_path, NAMES, NOW)


def test_the_fingerprint_is_that_of_the_file(tmp_path):
    import hashlib

    authority = home_certificate(tmp_path, NAMES, NOW).authority
    der = ssl.PEM_cert_to_DER_cert(as_pem(authority).decode())
    assert fingerprint(authority).replace(":", "").lower() == hashlib.sha256(der).hexdigest()
