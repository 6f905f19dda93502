"""Pulses out of edges: what the kernel dropped is counted by its numbers."""

from __future__ import annotations

import importlib.util
import sys
from pathlib import Path
from types import ModuleType

from hypothesis import given
from hypothesis import strategies as st


def _pulses() -> ModuleType:
    """The module by itself: its package imports libgpiod, which may be missing here."""
    path = Path(__file__).parents[2] / "controller" / "outputs" / "gpiod_pins" / "pulses.py"
    spec = importlib.util.spec_from_file_location("pulses_alone", path)
    assert spec is not None and spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules[spec.name] = module
    spec.loader.exec_module(module)
    return module


PULSES = _pulses()
SHORTEST_NS = 300_000


def edges(widths_ns: list[int], first_number: int = 1) -> list[object]:
    """Edges of a line that is high at first and changes after each of these times."""
    at_ns, found = 0, []
    for index, width_ns in enumerate(widths_ns):
        at_ns += width_ns
        found.append(PULSES.Edge(at_ns, index % 2 == 1, (first_number + index) % 2**32))
    return found


@given(
    widths=st.lists(st.integers(SHORTEST_NS, 50_000_000), min_size=2, max_size=40),
    kept=st.data(),
    first_number=st.sampled_from([1, 2**32 - 5]),
)
def test_clean_pulses_are_counted_exactly_whatever_the_kernel_dropped(
    widths: list[int], kept: st.DataObject, first_number: int
) -> None:
    every = edges(widths, first_number)
    asked = kept.draw(st.lists(st.booleans(), min_size=len(every), max_size=len(every)))
    counter = PULSES.PulseCounter(SHORTEST_NS)
    # The first and the last are there: nothing is known before the one, or after the other.
    last = len(every) - 1
    counter.take([e for i, e in enumerate(every) if i in (0, last) or asked[i]])
    # A fall counts once its end is there.
    assert counter.count == len(every) // 2


@given(widths=st.lists(st.integers(1, 5 * SHORTEST_NS), max_size=30))
def test_level_counts_once_it_has_lasted_long_enough(widths: list[int]) -> None:
    counter = PULSES.PulseCounter(SHORTEST_NS)
    counter.take(edges(widths))
    # Sampled at every nanosecond a debounced line would change after so long a stretch.
    level, debounced, falls = True, True, 0
    for index, width_ns in enumerate(widths):
        if (index == 0 or width_ns >= SHORTEST_NS) and debounced is not level:
            debounced = level
            falls += not level
        level = not level
    assert counter.count == falls
