"""Whom a cluster may be of: addresses, certificates, versions; and what is said when it is lost."""

import sys
from datetime import UTC, datetime, timedelta
from itertools import count, islice
from types import SimpleNamespace

import pytest

from tests.spread.own_cluster import own_cluster, until
from tests.spread.work import faulty, killed_always
from underlid.spread import LostWorkers, NoCluster, workers
from underlid.spread.cluster import about, done

OLDER = "import underlid; underlid.__version__ = '0.0.0'"
WITHOUT = "import sys; sys.modules['underlid'] = None"


@pytest.fixture
def empty(tmp_path):
    """A cluster without anybody yet."""
    pytest.importorskip("distributed", reason="the package distributed is not installed")
    with own_cluster(tmp_path, SCHEDULER__ALLOWED_FAILURES="0") as made:
        yield made


@pytest.mark.parametrize(
    ("address", "says"),
    [
        ("192.168.1.5:8786", "no address of a cluster"),
        ("tcp://127.0.0.1", "no address of a cluster"),
        ("http://127.0.0.1:8786", "no address of a cluster"),
        ("tcp://127.0.0.1:99999", "no address of a cluster"),
        ("tcp://8.8.8.8:8786", "beyond the own network"),
        ("tcp://[2001:4860:4860::8888]:8786", "beyond the own network"),
    ],
)
def test_an_address_that_will_not_do_is_refused_before_anything_is_sent(address, says):
    with pytest.raises(NoCluster, match=says), workers(cluster=address):
        pass


def test_nobody_there_is_told_in_time(monkeypatch):
    pytest.importorskip("distributed", reason="the package distributed is not installed")
    monkeypatch.setattr("underlid.spread.cluster.ANSWER_S", 0.5)
    with pytest.raises(NoCluster, match="No scheduler answers"), workers(cluster="tcp://127.0.0.1:9"):
        pass


def test_without_the_package_it_is_named(monkeypatch):
    monkeypatch.setitem(sys.modules, "distributed", None)
    with pytest.raises(NoCluster, match=r"underlid\[fleet\]"), workers(cluster="tcp://127.0.0.1:8786"):
        pass


# --- versions --------------------------------------------------------------------------------------------


def test_a_worker_of_another_version_that_joins_later_is_refused(empty):
    """Nobody is there when the work begins; then one like us, and then another in its place."""
    empty.scheduler()
    with workers(cluster=empty.address) as pool:
        first = empty.worker("--nthreads", "1")
        results = pool.map(faulty, (2 * number for number in count(1000)))
        assert [next(results) for _ in range(3)] == [2000, 2002, 2004]
        other = empty.worker("--nthreads", "1", first=OLDER)
        until(lambda: len(pool._client.nthreads()) == 2)  # type: ignore[attr-defined]
        first.terminate()
        with pytest.raises(NoCluster, match=r"The worker tcp://127\.0\.0\.1:\d+ has underlid 0\.0\.0, this computer"):
            list(islice(results, 1000))
        assert other.poll() is None


def test_a_worker_without_the_program_is_refused(empty):
    empty.scheduler()
    empty.worker("--nthreads", "1", "--no-nanny", first=WITHOUT)
    with (
        workers(cluster=empty.address) as pool,
        pytest.raises(NoCluster, match=r"The worker tcp\S+ cannot load underlid"),
    ):
        list(pool.map(abs, range(3)))


@pytest.mark.parametrize(
    ("first", "says"),
    [(OLDER, "The scheduler has underlid 0.0.0, this computer"), (WITHOUT, "The scheduler cannot load underlid")],
)
def test_a_scheduler_of_another_version_is_refused(empty, first, says):
    empty.scheduler(first=first)
    with pytest.raises(NoCluster, match=says), workers(cluster=empty.address):
        pass


@pytest.mark.parametrize("when", ["a worker is seen", "its first part is done"])
def test_every_version_that_may_change_a_result_is_compared(cluster, when):
    assert about()["Python"] == f"{sys.version_info.major}.{sys.version_info.minor}"
    for name in ("underlid", "Python", "numpy", "scipy", "numba"):
        with workers(cluster=cluster) as pool:
            pool._about = about() | {name: "0.1"}  # type: ignore[attr-defined]
            if when == "its first part is done":
                pool._known |= pool._client.nthreads().keys()  # type: ignore[attr-defined]
            with pytest.raises(
                NoCluster, match=rf"^The worker \S+ has {name} \d\S+, this computer {name} 0.1; install"
            ):
                list(pool.map(abs, range(3))) if when == "its first part is done" else pool._threads()  # type: ignore[attr-defined]


def test_a_part_asked_of_another_version_is_not_even_unpacked(monkeypatch):
    distributed = pytest.importorskip("distributed", reason="the package distributed is not installed")
    monkeypatch.setattr(distributed, "get_worker", lambda: SimpleNamespace(address="tcp://127.0.0.1:1"))
    assert done({"underlid": "0.0.0"}, b"no pickle at all") == ("tcp://127.0.0.1:1", about(), None)


def test_no_worker_at_all_has_an_end(empty, monkeypatch):
    monkeypatch.setattr("underlid.spread.cluster.PATIENCE_S", 0.5)
    empty.scheduler()
    with workers(cluster=empty.address) as pool, pytest.raises(LostWorkers, match="has had no worker for"):
        list(pool.map(abs, range(3)))


# --- what is lost ----------------------------------------------------------------------------------------


def test_of_parts_lost_together_the_one_that_ends_its_worker_is_named(empty):
    """Number 0 is under way in the same worker: it is done all the same, and not blamed."""
    empty.scheduler()
    empty.worker("--nthreads", "2")
    with workers(cluster=empty.address) as pool:
        results = pool.map(killed_always, [0, 1, 2])
        assert next(results) == 0
        with pytest.raises(LostWorkers, match="Part 2 was lost with its worker"):
            next(results)


def test_a_lost_scheduler_is_told(empty):
    empty.scheduler()
    empty.worker("--nthreads", "1")
    with workers(cluster=empty.address) as pool:
        results = pool.map(faulty, count(1000))
        assert next(results) == 1000
        empty.started[0].kill()
        with pytest.raises(LostWorkers, match="The scheduler was lost"):
            list(results)


# --- certificates ----------------------------------------------------------------------------------------


def certified(folder, name):
    """An authority and a certificate of its making: their files, as Dask's settings call them."""
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec
    from cryptography.x509.oid import NameOID

    def made(words, key, issuer, signer, authority):
        subject = x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, words)])
        now = datetime.now(UTC)
        return (
            x509.CertificateBuilder().subject_name(subject).issuer_name(issuer or subject)
            .public_key(key.public_key()).serial_number(x509.random_serial_number())
            .not_valid_before(now - timedelta(days=1)).not_valid_after(now + timedelta(days=1))
            .add_extension(x509.BasicConstraints(ca=authority, path_length=None), critical=True)
            .sign(signer, hashes.SHA256())
        )  # fmt: skip

    signer, key = (ec.generate_private_key(ec.SECP256R1()) for _ in range(2))
    authority = made(f"{name} authority", signer, None, signer, True)
    certificate = made(name, key, authority.subject, signer, False)
    pem = serialization.Encoding.PEM
    files = {
        "ca": authority.public_bytes(pem),
        "cert": certificate.public_bytes(pem),
        "key": key.private_bytes(pem, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()),
    }
    for kind, content in files.items():
        (folder / f"{name}.{kind}").write_bytes(content)
    return {kind: str(folder / f"{name}.{kind}") for kind in files}


def of_client(files):
    import dask

    names = {"ca": "tls.ca-file", "cert": "tls.client.cert", "key": "tls.client.key", "required": "require-encryption"}
    return dask.config.set({f"distributed.comm.{names[kind]}": value for kind, value in files.items()})


def test_tls_works_with_certificates_and_only_with_them(tmp_path, monkeypatch):
    pytest.importorskip("distributed", reason="the package distributed is not installed")
    ours, strange = certified(tmp_path, "ours"), certified(tmp_path, "strange")
    settings = {"COMM__TLS__CA_FILE": ours["ca"], "COMM__REQUIRE_ENCRYPTION": "True"} | {
        f"COMM__TLS__{role}__{kind.upper()}": ours[kind] for role in ("SCHEDULER", "WORKER") for kind in ("cert", "key")
    }
    with own_cluster(tmp_path, **settings) as made:
        made.scheduler("--protocol", "tls")
        made.worker("--nthreads", "1")
        assert made.address.startswith("tls://127.0.0.1:")
        with of_client(ours), workers(cluster=made.address) as pool:
            assert list(pool.map(faulty, [7, 8, 9])) == [7, 8, 9]
        monkeypatch.setattr("underlid.spread.cluster.ANSWER_S", 1.0)
        with (
            pytest.raises(NoCluster, match=r"names? none: set DASK_DISTRIBUTED__COMM__TLS__CA_FILE"),
            workers(cluster=made.address),
        ):
            pass
        for files, address, says in (
            (ours | {"key": str(tmp_path / "gone")}, made.address, "The certificates for tls://.* cannot be used"),
            (ours | {"ca": ours["key"]}, made.address, "The certificates for tls://.* cannot be used"),
            (strange, made.address, "No scheduler answers"),
            (ours, made.address.replace("tls:", "tcp:"), "No scheduler answers"),
            (
                ours | {"required": True},
                made.address.replace("tls:", "tcp:"),
                "No scheduler answers.*encryption required",
            ),
        ):
            with of_client(files), pytest.raises(NoCluster, match=says), workers(cluster=address):
                pass
