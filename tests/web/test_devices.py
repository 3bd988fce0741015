"""Paired devices and the code that pairs one."""

import sqlite3
import stat
import threading
from datetime import UTC, datetime, timedelta

import pytest

from underlid.web.devices import (
    CODE_LASTS,
    CODE_TRIES,
    MOST_DEVICES,
    Code,
    DamagedDevices,
    Devices,
    Pairing,
    TooManyDevices,
    UnknownDevice,
    WrongCode,
)

NOW = datetime(2026, 2, 3, 21, tzinfo=UTC)


@pytest.fixture
def devices(tmp_path):
    return Devices(tmp_path)


class Clock:
    def __init__(self):
        self.now = NOW

    def __call__(self):
        return self.now


def wrong(digits):
    return f"{(int(digits) + 1) % 10**8:08d}"


def test_a_token_is_known_until_it_is_revoked(devices):
    token, other = devices.add("phone", NOW), devices.add("tablet", NOW)
    device = devices.of(token)
    assert device.name == "phone"
    assert devices.of(token + "x") is None
    devices.revoke(device.id)
    assert devices.of(token) is None
    assert devices.of(other).name == "tablet"
    with pytest.raises(UnknownDevice, match="revoked already"):
        devices.revoke(device.id)


def test_a_number_is_never_given_twice(devices):
    """Or a late click on Revoke would hit the device that came after."""
    first = devices.of(devices.add("phone", NOW)).id
    devices.revoke(first)
    assert devices.of(devices.add("tablet", NOW)).id != first


def test_a_token_has_256_bits_and_is_not_kept(devices):
    tokens = {devices.add(f"phone {n}", NOW) for n in range(20)}
    assert len(tokens) == 20
    assert {len(token) for token in tokens} == {43}  # 32 bytes in base64 without padding
    kept = devices.path.read_bytes()
    assert not any(token.encode() in kept for token in tokens)


def test_the_file_is_for_its_owner_alone(devices):
    devices.add("phone", NOW)
    assert stat.S_IMODE(devices.path.stat().st_mode) == 0o600
    assert stat.S_IMODE(devices.path.parent.stat().st_mode) == 0o700


def test_the_secret_stays_the_same_for_every_server(devices, tmp_path):
    assert len(devices.secret) == 32
    assert Devices(tmp_path).secret == devices.secret


def test_two_servers_at_once_agree_on_the_secret_and_lose_no_device(tmp_path):
    secrets, tokens = [], []

    def serve(n):
        own = Devices(tmp_path)
        secrets.append(own.secret)
        tokens.append(own.add(f"phone {n}", NOW))

    threads = [threading.Thread(target=serve, args=(n,)) for n in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(set(secrets)) == 1
    assert len(secrets) == 8
    assert all(Devices(tmp_path).of(token) for token in tokens)


def test_last_seen_is_noted_once_a_minute(devices):
    token = devices.add("phone", NOW)
    assert not devices.saw(devices.of(token), NOW + timedelta(seconds=59))
    later = NOW + timedelta(seconds=61)
    assert devices.saw(devices.of(token), later)
    assert devices.of(token).seen == later
    assert [device.name for device in devices.all()] == ["phone"]


def test_there_is_an_end_to_devices(devices):
    for n in range(MOST_DEVICES):
        devices.add(f"phone {n}", NOW)
    with pytest.raises(TooManyDevices, match="revoke some"):
        devices.add("one more", NOW)


def test_a_damaged_file_is_said_in_a_sentence(devices):
    devices.add("phone", NOW)
    devices.path.write_bytes(b"not a database, whatever its name says" * 100)
    with pytest.raises(DamagedDevices, match="pair anew"):
        devices.of("token")
    with pytest.raises(sqlite3.DatabaseError):
        sqlite3.connect(devices.path).execute("SELECT 1 FROM devices")


def test_a_code_pairs_once():
    pairing = Pairing(Clock())
    code = pairing.renew()
    assert len(code.digits) == 8
    pairing.spend(f" {code.digits[:4]}-{code.digits[4:]} ")
    with pytest.raises(WrongCode, match="No pairing code holds"):
        pairing.spend(code.digits)


def test_a_code_lasts_ten_minutes():
    clock = Clock()
    pairing = Pairing(clock)
    code = pairing.renew()
    held = []
    for seconds in (-1, 0):
        clock.now = NOW + CODE_LASTS + timedelta(seconds=seconds)
        held.append(pairing.code)
    assert held == [code, None]
    with pytest.raises(WrongCode):
        pairing.spend(code.digits)


def test_there_is_no_code_unless_asked_for():
    pairing = Pairing(Clock())
    with pytest.raises(WrongCode):
        pairing.spend("")


def test_five_wrong_tries_end_a_code_and_win_no_time():
    clock = Clock()
    told: list[Code] = []
    pairing = Pairing(clock)
    pairing.tell = told.append
    code = pairing.renew()
    digits = code.digits
    clock.now += timedelta(minutes=4)
    for _ in range(CODE_TRIES):
        assert not told
        with pytest.raises(WrongCode):
            pairing.spend(wrong(digits))
    (fresh,) = told
    assert fresh.until == code.until
    with pytest.raises(WrongCode):
        pairing.spend(digits)
    pairing.spend(fresh.digits)


@pytest.mark.parametrize("words", ["", "٤٢", "1" * 40, "\x00", "é", "\ud800"])
def test_any_words_are_only_a_wrong_code(words):
    pairing = Pairing(Clock())
    pairing.renew()
    with pytest.raises(WrongCode):
        pairing.spend(words)
