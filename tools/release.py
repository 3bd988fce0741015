"""Build what is released: sdist and wheel, the same bytes from the same commit, with their checksums, signed.

    python tools/release.py --out dist                     # builds of the last commit, and SHA256SUMS
    python tools/release.py --out dist --key KEY           # signs SHA256SUMS with an OpenSSH key
    python tools/release.py --verify dist --signers FILE   # whether signature and checksums hold

The signature is OpenSSH's (`ssh-keygen -Y sign`, namespace `underlid-release`), so that whoever has OpenSSH can verify
it without this program. FILE is an allowed_signers file, with a line such as
`release@underlid namespaces="underlid-release" ssh-ed25519 AAAA...`.
"""

from __future__ import annotations

import argparse
import hashlib
import io
import os
import re
import shutil
import subprocess
import sys
import tarfile
from collections.abc import Sequence
from pathlib import Path
from tempfile import TemporaryDirectory

ROOT = Path(__file__).parent.parent
SUMS, NAMESPACE, SIGNER = "SHA256SUMS", "underlid-release", "release@underlid"
_LINE = re.compile(r"([0-9a-f]{64})  ([A-Za-z0-9_][\w.+-]*)")


class NotReleased(ValueError):
    """It cannot be built or signed here; the sentence says why."""


class NotGenuine(ValueError):
    """What lies there is not what was signed."""


# --- build --------------------------------------------------------------------------------------------------


def commit_of(root: Path) -> tuple[str, int]:
    """The last commit and when it was made [s since 1970]. Raises NotReleased."""
    told = (
        _run(["git", "-C", str(root), "log", "-1", "--format=%H %ct"], "there is no commit to build").decode().split()
    )
    return told[0], int(told[1])


def unpacked(root: Path, commit: str, into: Path) -> None:
    """The files of a commit, and nothing else that lies about."""
    data = _run(["git", "-C", str(root), "archive", "--format=tar", commit], "the commit cannot be read")
    with tarfile.open(fileobj=io.BytesIO(data)) as archive:
        archive.extractall(into, filter="data")


def build(source: Path, out: Path, at: int) -> list[Path]:
    """Build sdist and wheel of a clean tree; `at` is the time that stands in them. The files that were made."""
    out.mkdir(parents=True, exist_ok=True)
    before = set(out.iterdir())
    environment = {**os.environ, "SOURCE_DATE_EPOCH": str(at), "PYTHONHASHSEED": "0"}
    _run(
        [sys.executable, "-m", "hatchling", "build", "-d", str(out.absolute())],
        "it cannot be built",
        source,
        environment,
    )
    return sorted(set(out.iterdir()) - before)


def sums_of(files: Sequence[Path]) -> str:
    """Checksums as `sha256sum` writes and checks them, by name."""
    named = {path.name: hashlib.sha256(path.read_bytes()).hexdigest() for path in files}
    return "".join(f"{digest}  {name}\n" for name, digest in sorted(named.items()))


# --- sign and verify ----------------------------------------------------------------------------------------


def sign(folder: Path, key: Path) -> Path:
    """Sign the checksums; the signature. Raises NotReleased."""
    signature = folder / f"{SUMS}.sig"
    signature.unlink(missing_ok=True)
    _run(
        [_ssh_keygen(), "-q", "-Y", "sign", "-f", str(key), "-n", NAMESPACE, str(folder / SUMS)], "it cannot be signed"
    )
    return signature


def verify(folder: Path, signers: Path) -> list[str]:
    """The names of the files that are as they were signed. Raises NotGenuine, NotReleased without OpenSSH."""
    told = (folder / SUMS).read_bytes()
    command = [_ssh_keygen(), "-Y", "verify", "-f", str(signers), "-I", SIGNER, "-n", NAMESPACE,
               "-s", str(folder / f"{SUMS}.sig")]  # fmt: skip
    if subprocess.run(command, input=told, capture_output=True, check=False).returncode:
        raise NotGenuine(f"{folder / SUMS} was not signed by {SIGNER}, or was changed since: do not use these files.")
    names: list[str] = []
    for line in told.decode().splitlines():
        found = _LINE.fullmatch(line)
        if found is None:
            raise NotGenuine(f"{folder / SUMS} has a line that is no checksum: {line[:80]!r}.")
        path = folder / found[2]
        if not path.is_file() or hashlib.sha256(path.read_bytes()).hexdigest() != found[1]:
            raise NotGenuine(f"{path} is missing or not what was signed: do not use it.")
        names.append(found[2])
    if not names:
        raise NotGenuine(f"{folder / SUMS} names no file.")
    return names


def _ssh_keygen() -> str:
    if (found := shutil.which("ssh-keygen")) is None:
        raise NotReleased("ssh-keygen is not there; install OpenSSH's client.")
    return found


def _run(
    command: Sequence[str], failed: str, folder: Path | None = None, environment: dict[str, str] | None = None
) -> bytes:
    try:
        return subprocess.run(command, cwd=folder, env=environment, capture_output=True, check=True).stdout
    except FileNotFoundError:
        raise NotReleased(f"{failed[0].upper()}{failed[1:]}: {command[0]} is not there.") from None
    except subprocess.CalledProcessError as error:
        said = (error.stderr or error.stdout).decode(errors="replace").strip()
        raise NotReleased(f"{failed[0].upper()}{failed[1:]}: {said[-400:]}") from None


def release(root: Path, out: Path, key: Path | None) -> list[Path]:
    """Build the last commit into an empty folder, write the checksums, and sign them if there is a key."""
    if out.exists() and any(out.iterdir()):
        raise NotReleased(f"{out} is not empty; name another folder, or clear it.")
    commit, at = commit_of(root)
    with TemporaryDirectory() as folder:
        unpacked(root, commit, Path(folder))
        made = build(Path(folder), out, at)
    (out / SUMS).write_text(sums_of(made), "utf-8")
    return [*made, out / SUMS, *([] if key is None else [sign(out, key)])]


def main(arguments: Sequence[str] | None = None) -> int:
    asked = argparse.ArgumentParser(description="Build and sign what is released, or verify it.")
    asked.add_argument("--out", type=Path, default=Path("dist"), help="folder for what is built")
    asked.add_argument("--key", type=Path, help="OpenSSH private key to sign with (ed25519)")
    asked.add_argument("--verify", type=Path, help="folder with files that were released")
    asked.add_argument("--signers", type=Path, help="allowed_signers file with the public key")
    given = asked.parse_args(arguments)
    try:
        if given.verify is not None:
            if given.signers is None:
                asked.error("--verify needs --signers")
            print("\n".join(f"{name}: as signed" for name in verify(given.verify, given.signers)))
        else:
            print("\n".join(map(str, release(ROOT, given.out, given.key))))
            if given.key is None:
                print("Not signed: no --key was given.")
    except (NotReleased, NotGenuine) as error:
        print(error, file=sys.stderr)
        return 2
    return 0


if __name__ == "__main__":
    sys.exit(main())
