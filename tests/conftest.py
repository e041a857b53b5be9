"""Things that tests of several rooms need."""

import os
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def shared() -> Path:
    """The folder of open data and facts; tests that want it skip where it is absent."""
    folder = Path(os.environ.get("GRACEWRIGHT_SHARED", Path(__file__).parents[2] / "shared"))
    if not (folder / "data").is_dir():
        pytest.skip("the shared data folder is absent")
    return folder
