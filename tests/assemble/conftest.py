from pathlib import Path

import pytest

from emu.load import load_machine

FOLDER = Path(__file__).parent


@pytest.fixture(scope="session")
def tern():
    return load_machine(FOLDER / "tern.toml")


@pytest.fixture(scope="session")
def rail():
    return load_machine(FOLDER / "rail.toml")


@pytest.fixture(scope="session")
def machines(tern, rail):
    return {"tern": tern, "rail": rail}
