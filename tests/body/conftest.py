"""People as coloured bars, and a stand-in for the pose model that sees them."""

import importlib.util
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def bars():
    spec = importlib.util.spec_from_file_location("bars", Path(__file__).parent / "bars.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module
