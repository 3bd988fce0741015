"""The documents say what the program does, and all of it."""

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from underlid.cli.app import app

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")
COMMANDS = [command.name for command in app.registered_commands]
run = CliRunner()


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme_and_has_help(command):
    assert f"| `underlid {command}` |" in README
    shown = run.invoke(app, [command, "--help"])
    assert shown.exit_code == 0
    for option in re.findall(r"^  (--[a-z-]+)[^\n]*", shown.output, re.M):
        line = next(row for row in shown.output.splitlines() if row.strip().startswith(option))
        assert option == "--help" or len(line.split()) > 2, f"{option} of {command} has no help"


def test_every_command_in_the_readme_exists():
    named = set(re.findall(r"^\| `underlid ([a-z]+)` \|", README, re.M))
    assert named == set(COMMANDS)


def test_links_in_the_documents_lead_somewhere():
    for page in [ROOT / "README.md", ROOT / "CONTRIBUTING.md", *sorted((ROOT / "docs").glob("*.md"))]:
        for target in re.findall(r"\]\((?!https?:)([^)#]+)", page.read_text("utf-8")):
            assert (page.parent / target).exists(), f"{page.name} links to {target}"
