"""README and developers' page name every command and option, and only those; their links and tables lead somewhere."""

from __future__ import annotations

import re
import shlex
import tomllib
from collections.abc import Iterator
from typing import Any

import pytest
from typer.main import get_command

from diagnose.cli.main import commands
from tests.support.places import ROOT

README = (ROOT / "README.md").read_text("utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text("utf-8")


def every(command: Any, path: str = "") -> Iterator[tuple[str, Any]]:
    for name, inner in getattr(command, "commands", {}).items():
        yield from every(inner, f"{path} {name}".strip())
    if not getattr(command, "commands", None):
        yield path, command


COMMANDS = dict(every(get_command(commands())))


def test_every_command_stands_with_its_options_on_the_developers_page():
    """Where this fails, write the row `| COMMAND | its options |` anew."""
    section = DEVELOPERS.partition("## Commands and options")[2].partition("\n## ")[0]
    rows = {
        m.group(1): re.findall(r"`(--[a-z-]+)`", m.group(2))
        for m in re.finditer(r"^\| `([a-z -]+)` \| (.*) \|$", section, re.M)
    }
    options = {
        name: [o for p in command.params for o in p.opts if o.startswith("--") and o != "--help"]
        for name, command in COMMANDS.items()
    }
    assert rows == options


def test_the_readme_names_every_command_that_is_not_for_authors_and_no_option_that_is_not_there():
    told = set(re.findall(r"`diagnose ([a-z-]+)", README))
    assert {name for name in COMMANDS if " " not in name} <= told <= {name.partition(" ")[0] for name in COMMANDS}
    ours = {o for command in COMMANDS.values() for p in command.params for o in (*p.opts, *p.secondary_opts)}
    assert set(re.findall(r"(?<=[ `])--[a-z-]+", README)) <= ours


CALLS = sorted({call for page in (README, DEVELOPERS) for call in re.findall(r"`diagnose ([^`]+)`", page)})
"""What stands on the pages as a call; one without arguments only names the command."""


def parted(call: str) -> tuple[str, list[str]]:
    """The command of a call and what it is called with; "" where it names a group of commands."""
    words = shlex.split(call.replace("…", ""))
    name = next((" ".join(words[:n]) for n in (2, 1) if " ".join(words[:n]) in COMMANDS), "")
    return name, words[len(name.split()) :]


GROUPS = {name.partition(" ")[0] for name in COMMANDS if " " in name}


@pytest.mark.parametrize("call", [c for c in CALLS if parted(c)[1] and c.strip(" …") not in GROUPS])
def test_every_call_on_the_pages_is_one_that_its_command_takes(call):
    name, words = parted(call)
    assert name, f"there is no command for: diagnose {call}"
    assert COMMANDS[name].make_context(name, words).args == []


def test_the_heads_of_the_pages_lead_to_sections_and_files():
    for page, name in ((README, "README.md"), (DEVELOPERS, "DEVELOPERS.md")):
        heads = {
            re.sub(r"[^a-z0-9 -]", "", h.lower().replace("_", "")).replace(" ", "-")
            for h in re.findall(r"^#+ (.*)$", page, re.M)
        }
        for target in re.findall(r"\]\(([^)]+)\)", page):
            assert target[1:] in heads if target.startswith("#") else (ROOT / target).exists(), f"{name}: {target}"


def test_the_folders_are_those_of_the_developers_page():
    told = set(re.findall(r"^\| `diagnose/([a-z]+)/` \|", DEVELOPERS, re.M))
    assert told == {p.parent.name for p in (ROOT / "diagnose").glob("*/__init__.py")}


def test_nothing_is_bounded_above_without_a_reason():
    text = (ROOT / "pyproject.toml").read_text("utf-8")
    project = tomllib.loads(text)["project"]
    bounded = [d for d in project["dependencies"] if re.search("<|==|~=", d)]
    assert project["requires-python"] == ">=3.11"
    assert all(re.search(rf'"{re.escape(d)}", *# ', text) for d in bounded), bounded
