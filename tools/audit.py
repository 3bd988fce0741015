"""Look through what the program depends on: pinned by hashes, licences known, nothing withdrawn, no known weakness.

    python tools/audit.py            # uses the network; without it, says what was not looked up, and exits 0
    python tools/audit.py --whole    # exits 1 then: before a release

Exit code 1 on a finding that tools/audit-accepted.toml does not accept, with a reason and until when. Weaknesses are
looked up by pip-audit (`make audit` fetches it into .build) in the source that it asks by itself; what that source does
not know of is said, and is no “all is well”.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tomllib
from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from pathlib import Path
from typing import Any

from sbom import Locked, installed, licence_of, locked, plain

ROOT = Path(__file__).parent.parent
LOCKS = ("requirements.lock", "requirements-dev.lock")
ACCEPTED = "tools/audit-accepted.toml"
PATIENCE_S = 300
UNKNOWN = "NOT LOOKED UP"  # begins the line of a look that reached nothing

#: Runs a command: its exit code and what it printed on standard output.
Run = Callable[[Sequence[str]], tuple[int, str]]


class BadAcceptance(ValueError):
    """The file of accepted findings does not say what it must."""


@dataclass(frozen=True, slots=True)
class Finding:
    """Something wrong with a package; `ids` are its names elsewhere, for weaknesses."""

    package: str
    says: str
    ids: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Looked:
    """What a look came to: findings, and a line on how far it reached."""

    findings: tuple[Finding, ...]
    reach: str


# --- without the network ------------------------------------------------------------------------------------


def pinned(packages: Iterable[Locked]) -> Looked:
    """Whether each package is accepted by its hashes only."""
    every = list(packages)
    bare = [Finding(one.name, "the lock file has no hash for it; make it anew with `make lock`.") for one in every
            if not one.hashes]  # fmt: skip
    return Looked(tuple(bare), f"{len(every) - len(bare)} of {len(every)} packages are pinned by SHA-256.")


def licences(packages: Iterable[Locked]) -> Looked:
    """Whether each installed package says under which licence it is."""
    every = list(packages)
    here = [one for one in every if installed(one.name)]
    told = {one.name: licence_of(one.name) for one in here}
    unknown = [Finding(name, "its licence is unknown; read it, and name it in tools/sbom.py.")
               for name, licence in told.items() if licence is None]  # fmt: skip
    counted = Counter(licence for licence in told.values() if licence)
    kinds = ", ".join(f"{licence} ({times})" for licence, times in sorted(counted.items()))
    absent = f" {len(every) - len(here)} are not installed here and were not asked." if len(here) < len(every) else ""
    return Looked(tuple(unknown), f"Licences of {len(here)} packages: {kinds}.{absent}")


# --- with the network ---------------------------------------------------------------------------------------


def withdrawn(locks: Sequence[Path], run: Run) -> Looked:
    """Whether the index has withdrawn a pinned version since, as it does with broken and tampered ones."""
    still: dict[str, bool] = {}  # package and version -> whether it was withdrawn
    for lock in locks:
        code, out = run([
            sys.executable, "-m", "pip", "install", "--quiet", "--dry-run", "--ignore-installed", "--no-deps",
            "--require-hashes", "--disable-pip-version-check", "--retries", "1", "--report", "-", "-r", str(lock),
        ])  # fmt: skip
        told = _json(out)
        if code or told is None:
            return Looked((), f"{UNKNOWN}: the index did not answer for {lock.name}; what it has withdrawn is unknown.")
        for each in told["install"]:
            still[f"{plain(each['metadata']['name'])} {each['metadata']['version']}"] = each["is_yanked"]
    findings = [
        Finding(name.split()[0], f"{name} was withdrawn; take another.") for name, gone in still.items() if gone
    ]
    return Looked(tuple(findings), f"Of {len(still)} pinned versions the index has withdrawn {len(findings)}.")


def weaknesses(locks: Sequence[Path], run: Run) -> Looked:
    """Known weaknesses of the pinned versions."""
    _, out = run([
        sys.executable, "-m", "pip_audit", "--disable-pip", "--require-hashes", "--progress-spinner", "off",
        "--format", "json", *(part for lock in locks for part in ("-r", str(lock))),
    ])  # fmt: skip
    told = _json(out)
    if told is None:
        return Looked((), f"{UNKNOWN}: pip-audit is not there or could not ask; known weaknesses are unknown.")
    every = {plain(each["name"]): each for each in told["dependencies"]}
    unanswered = [name for name, each in every.items() if "skip_reason" in each]
    findings = [
        Finding(name, f"{each['version']} has {weak['id']}{_mended(weak)}.", (weak["id"], *weak["aliases"]))
        for name, each in every.items() for weak in each.get("vulns", ())
    ]  # fmt: skip
    if len(unanswered) == len(every):
        return Looked((), f"{UNKNOWN}: the source knew none of {len(every)} packages; their weaknesses are unknown.")
    left = f" It knew nothing of {', '.join(sorted(unanswered))}." if unanswered else ""
    return Looked(tuple(findings), f"Weaknesses of {len(every) - len(unanswered)} packages were looked up.{left}")


def _mended(weak: Mapping[str, Any]) -> str:
    return f"; mended in {', '.join(weak['fix_versions'])}" if weak.get("fix_versions") else ""


def _json(text: str) -> Any:
    try:
        return json.loads(text)
    except ValueError:
        return None


# --- what is accepted ---------------------------------------------------------------------------------------


def accepted(text: str, today: date) -> set[tuple[str, str]]:
    """Pairs of package and id that hold today. Raises BadAcceptance."""
    holds: set[tuple[str, str]] = set()
    for each in tomllib.loads(text).get("accepted", []):
        if set(each) != {"id", "package", "because", "until"} or not isinstance(each["until"], date):
            raise BadAcceptance(f"{ACCEPTED}: each needs id, package, because and until, a day: {each}.")
        if not str(each["because"]).strip():
            raise BadAcceptance(f"{ACCEPTED}: {each['id']} needs a reason.")
        if today <= each["until"]:
            holds.add((plain(each["package"]), each["id"]))
    return holds


def open_findings(looks: Iterable[Looked], holds: set[tuple[str, str]]) -> list[Finding]:
    """Findings that nothing accepts."""
    return [
        found for look in looks for found in look.findings
        if not any((found.package, id) in holds for id in found.ids)
    ]  # fmt: skip


def audit(root: Path, today: date, run: Run, *, whole: bool = False, say: Callable[[str], object] = print) -> int:
    """Look through everything and say what was found; the exit code.

    whole : count what could not be looked up as wrong, as before a release
    """
    locks = [root / name for name in LOCKS]
    packages = list({one.name: one for lock in locks for one in locked(lock.read_text("utf-8"))}.values())
    looks = [pinned(packages), licences(packages), withdrawn(locks, run), weaknesses(locks, run)]
    for look in looks:
        say(look.reach)
    wrong = open_findings(looks, accepted((root / ACCEPTED).read_text("utf-8"), today))
    for found in wrong:
        say(f"{found.package}: {found.says}")
    missed = whole and any(look.reach.startswith(UNKNOWN) for look in looks)
    return 1 if wrong or missed else 0


def ask(command: Sequence[str]) -> tuple[int, str]:
    """Run a command; one that takes too long or cannot be run counts as one that said nothing."""
    try:
        done = subprocess.run(command, capture_output=True, text=True, timeout=PATIENCE_S, check=False)
    except (OSError, subprocess.TimeoutExpired):
        return 1, ""
    return done.returncode, done.stdout


if __name__ == "__main__":
    asked = argparse.ArgumentParser(description="Look through what the program depends on.")
    asked.add_argument("--whole", action="store_true", help="exit 1 also if something could not be looked up")
    sys.exit(audit(ROOT, date.today(), ask, whole=asked.parse_args().whole))
