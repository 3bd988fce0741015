"""The documents say what the program does, and all of it."""

import re
from pathlib import Path

import pytest
from typer.main import get_group

from underlid.cli.app import app

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text("utf-8")
GROUP = get_group(app)


def commands(group, before=""):
    """Every command by its full name, such as `log` or `weather fetch`."""
    for name, command in group.commands.items():
        if hasattr(command, "commands"):
            yield from commands(command, f"{before}{name} ")
        else:
            yield f"{before}{name}", command


COMMANDS = dict(commands(GROUP))


@pytest.mark.parametrize("command", COMMANDS)
def test_every_command_is_in_the_readme_and_every_option_has_help(command):
    assert f"| `underlid {command}` |" in README
    made = COMMANDS[command]
    assert made.help
    for parameter in made.params:
        assert getattr(parameter, "help", None), f"{parameter.name} of {command} has no help"


def test_every_command_in_the_readme_exists():
    named = set(re.findall(r"^\| `underlid ([a-z ]+)` \|", README, re.M))
    assert named == set(COMMANDS)


def test_links_in_the_documents_lead_somewhere():
    for page in [ROOT / "README.md", ROOT / "CONTRIBUTING.md", *sorted((ROOT / "docs").glob("*.md"))]:
        for target in re.findall(r"\]\((?!https?:)([^)#]+)", page.read_text("utf-8")):
            assert (page.parent / target).exists(), f"{page.name} links to {target}"
