"""The notebooks run from top to bottom, on the demo clips that ship."""

from pathlib import Path

import nbformat
import pytest
from nbclient import NotebookClient

NOTEBOOKS = sorted((Path(__file__).parents[1] / "notebooks").glob("*.ipynb"))


@pytest.mark.parametrize("path", NOTEBOOKS, ids=lambda path: path.stem)
def test_notebook_runs(path):
    notebook = nbformat.read(path, as_version=4)
    NotebookClient(notebook, timeout=600, kernel_name="python3").execute()
    printed = "".join(output.get("text", "") for cell in notebook.cells for output in cell.get("outputs", []))
    assert "swing 1: contact at" in printed
    assert ".html" in printed
    assert ".mp4" in printed


def test_there_is_a_notebook():
    assert NOTEBOOKS
