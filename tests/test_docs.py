"""Documentation that cannot fall behind: commands, options, folders, docstrings, and what must not be in a text."""

from __future__ import annotations

import argparse
import ast
import re
import subprocess
from pathlib import Path

import pytest

from swingmatch.cli import _parser

ROOT = Path(__file__).parents[1]
PACKAGE = ROOT / "swingmatch"
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def commands():
    actions = _parser()._actions
    return next(a for a in actions if isinstance(a, argparse._SubParsersAction)).choices


def options():
    return [
        (command, option)
        for command, parser in commands().items()
        for action in parser._actions
        for option in action.option_strings
        if option.startswith("--") and option != "--help"
    ]


@pytest.mark.parametrize("command", sorted(commands()))
def test_every_command_is_in_the_readme(command):
    assert f"swingmatch {command}" in README


@pytest.mark.parametrize(("command", "option"), options())
def test_every_option_is_in_the_readme(command, option):
    assert re.search(rf"`[^`]*{re.escape(option)}(?![\w-])[^`]*`", README)


def test_every_choice_of_an_option_is_in_the_readme():
    for parser in commands().values():
        for action in parser._actions:
            for choice in action.choices or ():
                assert re.search(rf"[` ]{re.escape(str(choice))}`", README), choice


@pytest.mark.parametrize(
    "folder", sorted(p.name for p in PACKAGE.iterdir() if p.is_dir() and any(p.glob("*.py")))
)
def test_every_folder_is_in_the_developers_guide(folder):
    assert f"swingmatch/{folder}/" in DEVELOPERS


def test_every_path_in_the_developers_guide_exists():
    places = re.findall(r"`((?:\w+/)+(?:\w+\.\w+)?|\w+\.py)`", DEVELOPERS)
    assert len(places) > 20
    missing = [p for p in places if not any((base / p).exists() for base in (ROOT, PACKAGE))]
    assert missing == []


@pytest.mark.parametrize("path", sorted(PACKAGE.rglob("*.py")), ids=lambda p: str(p.relative_to(PACKAGE)))
def test_every_module_and_public_name_says_what_it_is(path):
    tree = ast.parse(path.read_text(encoding="utf-8"))
    if not tree.body:  # a bare __init__.py
        return
    assert ast.get_docstring(tree), "the module has no docstring"
    for node in tree.body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and not node.name.startswith("_"):
            assert ast.get_docstring(node), f"{node.name} has no docstring"


def tracked_texts():
    try:
        listed = subprocess.run(
            ["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True, text=True
        ).stdout.split("\0")
    except (OSError, subprocess.CalledProcessError):
        pytest.skip("not a git checkout")
    for name in filter(None, listed):
        path = ROOT / name
        if path.suffix not in {".npz", ".mp4", ".jpg", ".png", ".onnx", ".mo"} and path.is_file():
            yield name, path.read_text(encoding="utf-8")


#: Places of one machine or one company, put together here so that this file does not hold them itself.
FOREIGN = re.compile(
    "|".join(
        (
            "/" + r"work/(?!flows)",
            "/" + r"tmp/\w",
            "/" + r"home/\w",
            "/" + r"root/",
            r"[A-Z]:\\" + "Users",
            "pypi" + r"\.org",
            "files" + r"\.pythonhosted",
            r"https?://[\w.-]*(?:registry|mirror|proxy|artifact)[\w.-]*",
            r"--(?:extra-)?index-" + "url",
        )
    ),
    re.IGNORECASE,
)


def test_no_text_holds_the_place_of_a_machine():
    found = [(name, match.group()) for name, text in tracked_texts() for match in FOREIGN.finditer(text)]
    assert found == []


def test_the_pattern_finds_such_places():
    for place in ("cd /" + "work/main", "/" + "tmp/bash_jobs", "https://my-" + "registry.example/simple"):
        assert FOREIGN.search(place)
    assert not FOREIGN.search("`.github/workflows` and network/wire")
