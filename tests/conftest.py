"""For every test: hypothesis judges outcomes, not how long a busy machine takes for them.

And no test finds a config kept by another one, or by who runs them.
"""

from __future__ import annotations

import itertools
from pathlib import Path

import pytest
from hypothesis import settings

settings.register_profile("outcomes", deadline=None)
settings.load_profile("outcomes")

_NUMBERS = itertools.count()


@pytest.fixture(scope="session")
def _all_kept_in(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("kept")


@pytest.fixture(autouse=True)
def kept_in(_all_kept_in: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Where configs that were read before are kept: a folder of each test's own."""
    folder = _all_kept_in / str(next(_NUMBERS))
    monkeypatch.setenv("XDG_CACHE_HOME", str(folder))
    return folder
