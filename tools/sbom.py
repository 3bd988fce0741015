"""Write what the program is made of, as CycloneDX 1.6: every locked package with version, hashes and licence.

    python tools/sbom.py --out dist/underlid-0.1.0.cdx.json [--check]

The same lock and the same packages give the same bytes: no clock in it, and its serial number comes from its content.
"""

from __future__ import annotations

import argparse
import json
import re
import sys
import sysconfig
import tomllib
import uuid
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from importlib import import_module, metadata
from pathlib import Path
from typing import Any

ROOT = Path(__file__).parent.parent
_IDS = uuid.UUID("0f7c2a52-3a0e-5b57-9a1c-6f6b6c2f9d1e")  # fixed for good
_PINNED = re.compile(r"([A-Za-z0-9][\w.-]*)==([^\s;\\]+)")
_HASH = re.compile(r"--hash=sha256:([0-9a-f]{64})\b")
_VIA = re.compile(r"# +(?:via +)?(?!via$)([\w.-]+(?: \(.*\))?)$")
OURS = "underlid (pyproject.toml"

#: What classifiers mean, where a package gives no licence expression (SPDX identifiers; our reading).
CLASSIFIED = {
    "MIT License": "MIT", "BSD License": "BSD-3-Clause", "Apache Software License": "Apache-2.0",
    "ISC License (ISCL)": "ISC", "Mozilla Public License 2.0 (MPL 2.0)": "MPL-2.0",
    "Public Domain": "LicenseRef-public-domain", "Python Software Foundation License": "PSF-2.0",
    "Artistic License": "Artistic-1.0-Perl",
    "GNU General Public License v2 or later (GPLv2+)": "GPL-2.0-or-later",
}  # fmt: skip
#: The same of words under “License”, if they are as short as this.
WORDED = {
    "mit": "MIT", "mit license": "MIT", "bsd": "BSD-2-Clause", "2-clause bsd": "BSD-2-Clause",
    "apache 2.0": "Apache-2.0",
    "bsd-3-clause": "BSD-3-Clause", "bsd 3-clause license": "BSD-3-Clause", "apache-2.0": "Apache-2.0",
    "apache licence 2.0": "Apache-2.0", "isc license": "ISC", "mpl-2.0": "MPL-2.0", "cc0": "CC0-1.0",
    "mpl-2.0 and mit": "MPL-2.0 AND MIT", "mit or apache-2.0": "MIT OR Apache-2.0", "mit-0": "MIT-0",
}  # fmt: skip
#: Read in the licence file of the package, as its metadata says nothing.
READ = {"axe-playwright-python": "MIT", "fipy": "NIST-PD"}


class UnreadableLock(ValueError):
    """The lock file does not pin what it lists."""


class UnfitSbom(ValueError):
    """What was made does not keep to the published schema."""


@dataclass(frozen=True, slots=True)
class Locked:
    """A package as the lock file pins it.

    hashes : SHA-256 of each file that is accepted; wanted_by : names of what needs it, ours as "underlid"
    building : only needed to build ours
    """

    name: str
    version: str
    hashes: tuple[str, ...]
    wanted_by: tuple[str, ...]
    building: bool

    @property
    def purl(self) -> str:
        """The package's name in all such lists."""
        return f"pkg:pypi/{self.name}@{self.version}"


def locked(text: str) -> list[Locked]:
    """The packages of a lock file, by name. Raises UnreadableLock for a line that pins nothing."""
    found: list[Locked] = []
    for block in re.split(r"\n(?=\S)", re.sub(r"^#.*\n", "", text, flags=re.M).strip()):
        head, *rest = block.split("\n")
        pinned = _PINNED.match(head)
        if pinned is None:
            raise UnreadableLock(f"“{head[:80]}” pins no version; make the lock anew with `make lock`.")
        via = [seen[1] for line in rest if (seen := _VIA.search(line.strip()))]
        ours = [one for one in via if one.startswith(OURS)]
        others = [plain(one) for one in via if not one.startswith(OURS)]
        building = bool(ours) and not others and all("build-system" in one for one in ours)
        wanted = tuple(sorted({*others, *(["underlid"] if ours else [])}))
        found.append(Locked(plain(pinned[1]), pinned[2], tuple(sorted(_HASH.findall(block))), wanted, building))
    return _with_builders(sorted(found, key=lambda one: one.name))


def _with_builders(found: Sequence[Locked]) -> list[Locked]:
    """What only those need that are only needed to build is only needed to build, too."""
    only = {one.name for one in found if one.building}
    while more := {one.name for one in found if one.name not in only and one.wanted_by and set(one.wanted_by) <= only}:
        only |= more
    return [Locked(one.name, one.version, one.hashes, one.wanted_by, building=one.name in only) for one in found]


def plain(name: str) -> str:
    """A package's name as all spellings of it are compared."""
    return re.sub(r"[-_.]+", "-", name).lower()


def licence_of(name: str) -> str | None:
    """The licence of an installed package as an SPDX expression; None if it is not installed, or does not say."""
    if (read := READ.get(name)) is not None:
        return read
    told = _told(name)
    if told is None:
        return None
    if expression := told.get_all("License-Expression"):
        return str(expression[0])
    if word := WORDED.get("".join(told.get_all("License", [])).strip().lower()):
        return word
    names = [each.rpartition("::")[2].strip() for each in told.get_all("Classifier", []) if each.startswith("License ")]
    known = sorted({CLASSIFIED[each] for each in names if each in CLASSIFIED})
    return " OR ".join(known) or None


def installed(name: str) -> bool:
    """Whether the package is there to be asked."""
    return _told(name) is not None


def _told(name: str) -> metadata.PackageMetadata | None:
    """What an installed package says of itself; copies that tools brought along elsewhere are not asked."""
    found = metadata.distributions(name=name, path=[sysconfig.get_path("purelib")])
    return next((each.metadata for each in found), None)


def sbom(project: Mapping[str, Any], packages: Sequence[Locked], licences: Mapping[str, str | None]) -> dict[str, Any]:
    """The list as CycloneDX 1.6. Packages that only build ours are in it as `excluded`."""
    ours = f"pkg:pypi/{project['name']}@{project['version']}"
    names = {one.name: one.purl for one in packages} | {str(project["name"]): ours}
    needs: dict[str, list[str]] = {ref: [] for ref in names.values()}
    for one in packages:
        for who in one.wanted_by:
            if who in names:
                needs[names[who]].append(one.purl)
    body: dict[str, Any] = {
        "bomFormat": "CycloneDX",
        "specVersion": "1.6",
        "version": 1,
        "metadata": {
            "component": {
                "type": "application", "bom-ref": ours, "name": project["name"], "version": project["version"],
                "description": project["description"], "purl": ours,
                "licenses": [{"expression": project["license"]}],
            }
        },
        "components": [_component(one, licences.get(one.name)) for one in packages],
        "dependencies": [{"ref": ref, "dependsOn": sorted(needs[ref])} for ref in sorted(needs)],
    }  # fmt: skip
    serial = uuid.uuid5(_IDS, json.dumps(body, sort_keys=True))
    return {**body, "serialNumber": f"urn:uuid:{serial}"}


def _component(one: Locked, licence: str | None) -> dict[str, Any]:
    told: dict[str, Any] = {
        "type": "library", "bom-ref": one.purl, "name": one.name, "version": one.version, "purl": one.purl,
        "scope": "excluded" if one.building else "required",
        "hashes": [{"alg": "SHA-256", "content": each} for each in one.hashes],  # of every file that the lock accepts
    }  # fmt: skip
    return told | ({"licenses": [{"expression": licence}]} if licence else {})


def text_of(made: Mapping[str, Any]) -> str:
    """The list's text, keys in order."""
    return json.dumps(made, ensure_ascii=False, indent=1, sort_keys=True) + "\n"


def check(text: str) -> None:
    """Hold it against the published schema. Raises UnfitSbom; ImportError where the library that has it is missing."""
    version = import_module("cyclonedx.schema").SchemaVersion.V1_6
    if wrong := import_module("cyclonedx.validation.json").JsonStrictValidator(version).validate_str(text):
        raise UnfitSbom(f"It does not keep to the schema of CycloneDX 1.6: {str(wrong)[:300]}.")


def made(root: Path = ROOT) -> str:
    """The list of this project."""
    project = tomllib.loads((root / "pyproject.toml").read_text("utf-8"))["project"]
    packages = locked((root / "requirements.lock").read_text("utf-8"))
    return text_of(sbom(project, packages, {one.name: licence_of(one.name) for one in packages}))


def main(arguments: Sequence[str] | None = None) -> int:
    asked = argparse.ArgumentParser(description="Write what the program is made of, as CycloneDX 1.6.")
    asked.add_argument("--out", type=Path, required=True, help="where to write it")
    asked.add_argument("--check", action="store_true", help="hold it against the published schema")
    given = asked.parse_args(arguments)
    text = made()
    if given.check:
        try:
            check(text)
        except ImportError as missing:
            print(f"The schema is not there ({missing}); it comes with the package cyclonedx-python-lib.")
            return 1
    given.out.parent.mkdir(parents=True, exist_ok=True)
    given.out.write_text(text, "utf-8")
    held = json.loads(text)["components"]
    valid = ", valid by the published schema" if given.check else ""
    print(f"{given.out}: {len(held)} packages{valid}.")
    return 0


if __name__ == "__main__":
    sys.exit(main())
