"""Lends the trials, a script beside these tests, to them."""

import importlib.util
import sys
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def trials():
    """Return the module of the trials."""
    path = Path(__file__).with_name("trials.py")
    spec = importlib.util.spec_from_file_location("hidden_fault_trials", path)
    module = importlib.util.module_from_spec(spec)
    sys.modules["hidden_fault_trials"] = module
    spec.loader.exec_module(module)
    return module
