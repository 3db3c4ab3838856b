"""Shared helpers of the tests, loaded by path because tests are not a package."""

import importlib.util
from pathlib import Path

import pytest


def _load(name):
    spec = importlib.util.spec_from_file_location(name, Path(__file__).parents[1] / f"{name}.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


@pytest.fixture(scope="session")
def naive():
    return _load("naive")


@pytest.fixture(scope="session")
def movers():
    return _load("movers")
