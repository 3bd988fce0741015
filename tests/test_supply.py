"""What is released and what it is made of: the same bytes twice, signed, listed; and the look through what it needs."""

import importlib
import json
import shutil
import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
TOOLS = ROOT / "tools"
LOCK = f"""\
# a comment
left-pad==1.2 \\
    --hash=sha256:{"a" * 64} \\
    --hash=sha256:{"b" * 64}
    # via
    #   Right_Pad
    #   underlid (pyproject.toml)
maker==3 \\
    --hash=sha256:{"c" * 64}
    # via underlid (pyproject.toml::build-system.requires)
maker-of-maker==1 \\
    --hash=sha256:{"d" * 64}
    # via maker
right-pad==0.1
    # via underlid (pyproject.toml)
"""
PROJECT = {"name": "underlid", "version": "1", "description": "worms", "license": "MIT"}


@pytest.fixture(scope="module")
def tool():
    with pytest.MonkeyPatch.context() as patch:
        patch.syspath_prepend(str(TOOLS))
        yield importlib.import_module


# --- the list of what it is made of ---------------------------------------------------------------------------


def test_a_lock_is_read_with_hashes_and_who_needs_what(tool):
    left, maker, of_maker, right = tool("sbom").locked(LOCK)
    assert (left.name, left.version, left.hashes) == ("left-pad", "1.2", ("a" * 64, "b" * 64))
    assert left.wanted_by == ("right-pad", "underlid")
    assert [one.building for one in (left, maker, of_maker, right)] == [False, True, True, False]


def test_a_line_that_pins_nothing_is_refused(tool):
    with pytest.raises(tool("sbom").UnreadableLock, match="pins no version"):
        tool("sbom").locked("left-pad>=1\n")


def test_the_list_names_every_locked_package_once_and_nothing_else(tool):
    text = tool("sbom").made()
    assert text == tool("sbom").made()
    told = json.loads(text)
    assert (told["bomFormat"], told["specVersion"]) == ("CycloneDX", "1.6")
    lock = (ROOT / "requirements.lock").read_text("utf-8")
    named = [(one["name"], one["version"]) for one in told["components"]]
    assert named == sorted({tuple(line.split(" ")[0].split("==")) for line in lock.splitlines() if "==" in line})
    refs = [told["metadata"]["component"]["bom-ref"], *(one["bom-ref"] for one in told["components"])]
    assert sorted(refs) == [each["ref"] for each in told["dependencies"]]
    assert {ref for each in told["dependencies"] for ref in each["dependsOn"]} == set(refs[1:])  # nothing for nobody
    for one in told["components"]:
        assert one["licenses"][0]["expression"]
        assert all(each["content"] in lock for each in one["hashes"])
        assert one["hashes"]


def test_another_version_is_another_list(tool):
    made, packages = tool("sbom").sbom, tool("sbom").locked(LOCK)
    serials = {made(PROJECT | {"version": version}, packages, {})["serialNumber"] for version in "112"}
    assert len(serials) == 2


# --- the look through it ------------------------------------------------------------------------------------


@pytest.fixture
def project(tmp_path):
    (tmp_path / "tools").mkdir()
    (tmp_path / "tools" / "audit-accepted.toml").write_text("accepted = []\n")
    for name in ("requirements.lock", "requirements-dev.lock"):
        (tmp_path / name).write_text(
            f"pytest==1 \\\n    --hash=sha256:{'a' * 64}\n    # via underlid (pyproject.toml)\n"
        )
    return tmp_path


WEAK = {"id": "ABC-1", "aliases": ["XYZ-9"], "fix_versions": ["2"], "description": "bad"}
CLEAN = {"name": "pytest", "version": "1", "vulns": []}
TODAY = date(2026, 3, 1)


def answering(weak=CLEAN, yanked=False):
    """A pip and a pip-audit that answer so."""

    def run(command):
        if "pip_audit" in command:
            return 0, json.dumps({"dependencies": [weak]})
        return 0, json.dumps({"install": [{"metadata": {"name": "pytest", "version": "1"}, "is_yanked": yanked}]})

    return run


def audited(tool, project, run, **more):
    said: list[str] = []
    code = tool("audit").audit(project, TODAY, run, say=said.append, **more)
    return code, "\n".join(said)


def test_where_nothing_is_wrong_it_says_how_far_it_looked(tool, project):
    code, said = audited(tool, project, answering(), whole=True)
    assert code == 0
    assert "1 of 1 packages are pinned" in said
    assert "MIT (1)" in said
    assert "Weaknesses of 1 packages were looked up." in said


def test_a_weakness_is_a_finding_unless_accepted_for_now(tool, project):
    run = answering(CLEAN | {"vulns": [WEAK]})
    code, said = audited(tool, project, run)
    assert (code, "pytest: 1 has ABC-1; mended in 2." in said) == (1, True)
    accepted = '[[accepted]]\nid = "XYZ-9"\npackage = "PyTest"\nbecause = "never called"\nuntil = {}\n'
    (project / "tools" / "audit-accepted.toml").write_text(accepted.format("2026-03-01"))
    assert audited(tool, project, run)[0] == 0
    (project / "tools" / "audit-accepted.toml").write_text(accepted.format("2026-02-28"))
    assert audited(tool, project, run)[0] == 1


@pytest.mark.parametrize(("old", "new"), [('"never called"', '" "'), ("until = 2026-03-01", ""), ("2026-03-01", "1")])
def test_what_is_accepted_needs_a_reason_and_a_day(tool, old, new):
    text = '[[accepted]]\nid = "A"\npackage = "b"\nbecause = "never called"\nuntil = 2026-03-01\n'
    assert tool("audit").accepted(text, TODAY) == {("b", "A")}
    with pytest.raises(tool("audit").BadAcceptance):
        tool("audit").accepted(text.replace(old, new), TODAY)


def test_a_withdrawn_version_is_a_finding(tool, project):
    code, said = audited(tool, project, answering(yanked=True))
    assert (code, "pytest 1 was withdrawn" in said) == (1, True)


def test_a_package_without_a_hash_is_a_finding(tool, project):
    (project / "requirements.lock").write_text("pytest==1\n    # via underlid (pyproject.toml)\n")
    (project / "requirements-dev.lock").write_text("pytest==1\n    # via underlid (pyproject.toml)\n")
    code, said = audited(tool, project, answering())
    assert (code, "no hash" in said) == (1, True)


@pytest.mark.parametrize("run", [lambda command: (1, ""), answering({"name": "pytest", "skip_reason": "not found"})])
def test_without_an_answer_it_says_so_and_a_release_does_not_pass(tool, project, run):
    code, said = audited(tool, project, run)
    assert (code, "NOT LOOKED UP" in said) == (0, True)
    assert audited(tool, project, run, whole=True)[0] == 1


def test_our_own_locks_are_pinned_and_every_licence_is_known(tool):
    audit = tool("audit")
    for name in audit.LOCKS:
        packages = tool("sbom").locked((ROOT / name).read_text("utf-8"))
        assert len(packages) > 50
        assert not audit.pinned(packages).findings
        assert not audit.licences(packages).findings


# --- what is released -----------------------------------------------------------------------------------------


def tree(folder):
    """A small project that is built as ours is, with files of now."""
    folder.mkdir()
    for name in ("pyproject.toml", "README.md", "LICENSE"):
        shutil.copy(ROOT / name, folder / name)
    for name in ("src/underlid/weather/data/README.md", "src/underlid/update/fonts/OFL.md", "src/underlid/__init__.py"):
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        (folder / name).write_bytes((ROOT / name).read_bytes())
    return folder


def test_two_builds_give_the_same_bytes(tool, tmp_path):
    release = tool("release")
    first, second = (release.build(tree(tmp_path / name), tmp_path / f"{name}-out", 1_700_000_000) for name in "ab")
    assert [path.suffix for path in first] == [".whl", ".gz"]
    assert release.sums_of(first) == release.sums_of(second)
    later = release.build(tmp_path / "a", tmp_path / "later", 1_700_086_400)
    assert release.sums_of(later) != release.sums_of(first)  # the time that stands in them is the one given


@pytest.fixture
def released(tool, tmp_path):
    """A folder of released files, the key that signs them, and the file that names the key."""
    if shutil.which("ssh-keygen") is None:
        pytest.skip("OpenSSH's ssh-keygen is not installed")
    key, folder = tmp_path / "key", tmp_path / "dist"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", key], check=True)
    folder.mkdir()
    for name, data in (("a.whl", b"wheel"), ("a.tar.gz", b"source")):
        (folder / name).write_bytes(data)
    release = tool("release")
    (folder / release.SUMS).write_text(release.sums_of(sorted(folder.iterdir())))
    signers = tmp_path / "signers"
    public = key.with_suffix(".pub").read_text()
    signers.write_text(f'{release.SIGNER} namespaces="{release.NAMESPACE}" {public}')
    return folder, key, signers


def test_what_was_signed_is_verified(tool, released):
    folder, key, signers = released
    tool("release").sign(folder, key)
    assert tool("release").verify(folder, signers) == ["a.tar.gz", "a.whl"]


@pytest.mark.parametrize("name", ["a.whl", "SHA256SUMS", "SHA256SUMS.sig"])
def test_tampering_is_found(tool, released, name):
    folder, key, signers = released
    tool("release").sign(folder, key)
    data = bytearray((folder / name).read_bytes())
    data[len(data) // 2] ^= 1
    (folder / name).write_bytes(data)
    with pytest.raises(tool("release").NotGenuine):
        tool("release").verify(folder, signers)


def test_another_key_or_another_purpose_is_not_ours(tool, released, tmp_path):
    folder, key, signers = released
    other = tmp_path / "other"
    subprocess.run(["ssh-keygen", "-q", "-t", "ed25519", "-N", "", "-f", other], check=True)
    tool("release").sign(folder, other)
    with pytest.raises(tool("release").NotGenuine):
        tool("release").verify(folder, signers)
    (folder / "SHA256SUMS.sig").unlink()
    subprocess.run(["ssh-keygen", "-q", "-Y", "sign", "-f", key, "-n", "file", folder / "SHA256SUMS"], check=True)
    with pytest.raises(tool("release").NotGenuine):
        tool("release").verify(folder, signers)


def test_a_checksum_cannot_name_a_file_elsewhere(tool, released, tmp_path):
    folder, key, signers = released
    (tmp_path / "x").write_bytes(b"")
    (folder / "SHA256SUMS").write_text(f"{'0' * 64}  ../x\n")
    tool("release").sign(folder, key)
    with pytest.raises(tool("release").NotGenuine, match="no checksum"):
        tool("release").verify(folder, signers)


def test_only_what_was_committed_is_built(tool, tmp_path):
    source = tree(tmp_path / "a")

    def git(*words):
        who = ["-c", "user.name=x", "-c", "user.email=x@localhost", "-c", "commit.gpgsign=false"]
        subprocess.run(["git", *who, "-C", str(source), *words], check=True, capture_output=True)

    git("init", "-q")
    git("add", ".")
    git("commit", "-q", "-m", "one")
    (source / "src" / "underlid" / "left_about.py").write_text("SECRET = 1\n")
    out = tmp_path / "out"
    made = tool("release").release(source, out, None)
    wheel = next(path for path in made if path.suffix == ".whl")
    listed = subprocess.run([sys.executable, "-m", "zipfile", "-l", wheel], check=True, capture_output=True, text=True)
    assert "underlid/__init__.py" in listed.stdout
    assert "left_about" not in listed.stdout
    with pytest.raises(tool("release").NotReleased, match="not empty"):
        tool("release").release(source, out, None)
