"""Imports run one way: read from the source with ``ast``, so that imports inside functions count too."""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

PACKAGE = Path(__file__).parents[1] / "swingmatch"
#: What a part may know besides itself and the plain modules at the top. ``None``: anything but ``cli``.
#: "part.module" allows only that module.
MAY_KNOW: dict[str, set[str]] = {
    "clip": set(),
    "body": {"clip"},
    "stroke": {"clip", "body"},
    "racket": {"clip", "body"},
    "court": {"clip", "body", "stroke.direction"},
    "align": {"body", "stroke"},
    "library": {"body", "stroke", "align"},
    "findings": {"body", "stroke", "align"},
    "players": {"findings", "library", "stroke"},
    # The plain tables of ``findings`` say what is measured; ``findings`` itself knows nothing of footage.
    "footage": {"clip", "body", "racket", "stroke", "findings"},
    "report": {"clip", "body", "stroke", "align", "findings", "footage", "library.folder"},
    "demo": {"synth"},
    # The generator needs the plain values and the formats it writes, nothing of the analysis of clips.
    "synth": {"body.skeleton", "stroke.swing", "library", "clip.writer"},
    "study": {
        "court",
        "clip",
        "body",
        "racket",
        "stroke",
        "align",
        "library",
        "findings",
        "report",
        "pipeline",
        "synth",
    },
    "pipeline": {"clip", "body", "racket", "court", "stroke", "align", "library", "findings", "footage"},
    "cli": {
        "body.estimator",
        "body.people",
        "demo.clips",
        "footage",
        "library",
        "library_commands",
        "players_commands",
        "explain_command",
        "pipeline",
        "report",
    },
    "explain_command": {
        "body.estimator",
        "findings",
        "library",
        "library_commands",
        "pipeline",
        "players",
        "report",
    },
    "library_commands": {"library", "pipeline", "report.thumbnail", "stroke.swing"},
    "players_commands": {"findings", "library", "library_commands", "players", "report", "stroke"},
    "setup_check": set(),
    "series": set(),
    "errors": set(),
    "progress": set(),
    "words": set(),
}
#: Plain modules that any part may use.
PLAIN = {"errors", "series", "progress", "setup_check", "words"}


def part_of(path: Path) -> str:
    return path.relative_to(PACKAGE).with_suffix("").parts[0]


def imports(path: Path) -> set[str]:
    """Names within the package that a module imports, without the leading "swingmatch."."""
    found = set()
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            found |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path.name} imports relatively"
            module = node.module or ""
            # ``from swingmatch.stroke import measures`` names a module too.
            found |= {module} if module.count(".") > 1 else {f"{module}.{a.name}" for a in node.names}
    return {name.split(".", 1)[1] for name in found if name.startswith("swingmatch.")} - {"__version__"}


MODULES = sorted(PACKAGE.rglob("*.py"))


@pytest.mark.parametrize("path", MODULES, ids=lambda p: str(p.relative_to(PACKAGE)))
def test_a_module_imports_only_what_its_part_may_know(path):
    part = part_of(path)
    if part == "__init__":
        assert imports(path) == set()
        return
    assert part in MAY_KNOW, f"say in MAY_KNOW what {part} may import"
    for name in imports(path):
        other = name.split(".")[0]
        if other in PLAIN or other == part:
            continue
        allowed = {known for known in MAY_KNOW[part] if name == known or name.startswith(known + ".")}
        assert allowed, f"{part} must not import {name}"


def test_the_truth_of_the_generator_does_not_leak():
    """Only the generator itself, the study and the maker of the demo clips know ``synth``."""
    knowing = {
        str(path.relative_to(PACKAGE))
        for path in MODULES
        if any(name.split(".")[0] == "synth" for name in imports(path)) and part_of(path) != "synth"
    }
    assert {name for name in knowing if not name.startswith("study/")} == {"demo/make.py"}


def test_nothing_imports_the_command_line():
    assert [path for path in MODULES if any(n.split(".")[0] == "cli" for n in imports(path))] == []


def test_the_reader_of_imports_sees_them_all(tmp_path):
    sample = tmp_path / "sample.py"
    sample.write_text(
        "import os\nimport swingmatch.clip.reader\nfrom swingmatch.stroke import measures as m\n"
        "def f():\n    from swingmatch.synth.film import render\n    from swingmatch import cli\n",
        encoding="utf-8",
    )
    assert imports(sample) == {"clip.reader", "stroke.measures", "synth.film", "cli"}
