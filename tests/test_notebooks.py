"""The notebooks run from top to bottom, on the demo clips that ship and on clips they render."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

#: What each notebook prints when it has done its work.
PRINTS = {
    "one_clip": ("swing 1: contact at", ".html", ".mp4"),
    "accuracy": ("aims are met on 3 clips",),
}
NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(path):
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=600, kernel_name="python3").execute()
    printed = "".join(output.get("text", "") for cell in notebook.cells for output in cell.get("outputs", []))
    for words in PRINTS[path.stem]:
        assert words in printed


def test_there_is_a_notebook():
    assert NOTEBOOKS
