"""The pages that several tests look at, written once in a session."""

from __future__ import annotations

from pathlib import Path

import pytest
from browser_pages import write_pages


@pytest.fixture(scope="session")
def pages(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    return write_pages(tmp_path_factory.mktemp("pages"))
