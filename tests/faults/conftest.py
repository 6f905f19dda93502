"""What every test of the fault matrix shares."""

from __future__ import annotations

import json
import os
from collections.abc import Callable
from pathlib import Path

import pytest
from fault_tent import DAY_S, DAYS, QUIET_S, TICK_S, FaultTent
from policy import row_of

# Where the bench gathers what came of each fault, one JSON object a line.
OUTCOMES = "LUNGWORT_FAULT_OUTCOMES"

OPEN_S = 1.5 * QUIET_S + TICK_S
Holds = Callable[..., None]


@pytest.fixture
def holds(request: pytest.FixtureRequest) -> Holds:
    """Hold a finished run against the row of the page that names the test."""
    name = request.node.originalname
    row = row_of(name)

    def check(tent: FaultTent, *, took_s: float, lost_s: float = 0.0) -> None:
        """`took_s`: until the safe state [s]; `lost_s`: readings that nobody kept [s]."""
        assert tent.now_s >= DAYS * DAY_S
        assert row.within_s is not None
        assert took_s <= row.within_s
        assert row.events <= tent.names()
        for alarm in row.alarms:
            assert tent.has_raised(alarm), f"no alarm {alarm}"
        # All but the interval that is still open is in the record; one may be half as long again.
        assert lost_s <= OPEN_S
        outcomes = os.environ.get(OUTCOMES)
        if outcomes:
            line = {
                "test": name,
                "days": round(tent.now_s / DAY_S, 2),
                "seconds_to_safe_state": round(took_s),
                "readings_lost": 0 if lost_s <= OPEN_S else round(lost_s / QUIET_S),
            }
            with Path(outcomes).open("a", encoding="utf-8") as file:
                file.write(json.dumps(line) + "\n")

    return check
