"""Pulses out of edges: what the kernel dropped is counted by its numbers."""

from __future__ import annotations

import importlib.util
import itertools
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


def edges(widths_ns: list[int], before: int = 0) -> list[object]:
    """Edges after each of these times; the kernel has numbered so many before."""
    return [
        PULSES.Edge(at_ns, (before + number) % 2**32)
        for number, at_ns in enumerate(itertools.accumulate(widths_ns), start=1)
    ]


@given(
    widths=st.lists(st.integers(SHORTEST_NS, 50_000_000), min_size=1, max_size=40),
    asked=st.data(),
)
def test_clean_pulses_are_counted_exactly_whatever_the_kernel_dropped(
    widths: list[int], asked: st.DataObject
) -> None:
    every = edges(widths)
    keeps = asked.draw(st.lists(st.booleans(), min_size=len(every), max_size=len(every)))
    counter = PULSES.PulseCounter(SHORTEST_NS)
    # The newest is always there: the kernel drops the oldest.
    kept = [edge for edge, is_kept in zip(every, [*keeps[:-1], True], strict=True) if is_kept]
    split = asked.draw(st.integers(0, len(kept)))
    counter.take(kept[:split])
    counter.take(kept[split:])
    assert counter.count == len(every) // 2


def test_numbers_begin_anew_after_the_largest() -> None:
    counter = PULSES.PulseCounter(SHORTEST_NS)
    counter._number = before = 2**32 - 3
    counter.take(edges([2 * SHORTEST_NS] * 9, before))
    assert counter.count == 4


@given(widths=st.lists(st.integers(1, 5 * SHORTEST_NS), max_size=30))
def test_level_counts_once_it_has_lasted_long_enough(widths: list[int]) -> None:
    counter = PULSES.PulseCounter(SHORTEST_NS)
    counter.take(edges(widths))
    # A debounced line follows a level once it has lasted so long.
    level = debounced = changes = 0
    for index, width_ns in enumerate(widths):
        if (index == 0 or width_ns >= SHORTEST_NS) and debounced != level:
            debounced, changes = level, changes + 1
        level = 1 - level
    changes += debounced != level  # the newest counts before it is known to last
    assert counter.count == changes // 2


@given(noise=st.integers(2, 400), dropped=st.integers(0, 5000))
def test_noise_counts_for_nothing_kept_or_dropped(noise: int, dropped: int) -> None:
    counter = PULSES.PulseCounter(SHORTEST_NS)
    counter.take(edges([SHORTEST_NS // 10] * noise, dropped))
    # An odd burst leaves the line at its other level: one change in so many.
    assert counter.count <= dropped / noise / 2 + 1
