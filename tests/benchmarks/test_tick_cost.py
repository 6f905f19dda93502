"""What one tick costs without the sensors' own waiting. Figures are printed, never asserted."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).parent.parent / "daemon"))

from daemon_builders import Bench

from controller.measurement import Measurement


def _ticking(bench: Bench) -> Any:
    count = [0]

    def tick() -> None:
        count[0] += 1
        bench.tent.air = Measurement(23.0 + 0.1 * (count[0] % 7), 55.0)
        bench.controller.tick()
        bench.clock.advance(2.0)

    return tick


def test_a_quiet_tick(benchmark: Any) -> None:
    benchmark(_ticking(Bench("2025-06-03 10:00")))


def test_a_tick_with_an_override_engaged_and_one_locked_out(benchmark: Any) -> None:
    bench = Bench("2025-06-03 10:00")
    bench.intake.air = Measurement(22.0, 95.0)
    tick = _ticking(bench)

    def hot() -> None:
        tick()
        bench.tent.air = Measurement(30.0, 75.0)

    benchmark(hot)
