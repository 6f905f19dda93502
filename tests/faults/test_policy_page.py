"""The failure policy's page and the tests are held against each other."""

from __future__ import annotations

import functools
import re
from pathlib import Path

import pytest
from policy import PAGE, ROOT, Row, known_tests, rows, seconds_of

from controller.alarms.kinds import BY_NAME


@functools.cache
def names_in_code() -> set[str]:
    """Every dotted name that stands in quotes in the controller's code."""
    found: set[str] = set()
    for path in (ROOT / "controller").rglob("*.py"):
        text = path.read_text(encoding="utf-8")
        found.update(re.findall(r"""["']([a-z_]+\.[a-z_]+)["']""", text))
    # Of things that fail and recover, the first word is filled in at run time.
    return found | {"output.failed", "output.recovered"}


@pytest.mark.parametrize("row", rows(), ids=lambda row: row.fault)
def test_every_row_has_tests_that_exist_and_names_that_the_log_knows(row: Row) -> None:
    assert row.tests, "a row without a test"
    for test in row.tests:
        assert test in known_tests(), f"no test is called {test}"
    assert row.within_s is not None
    assert row.does
    assert row.do
    assert row.alarms <= set(BY_NAME)
    assert row.events <= names_in_code()


def test_every_test_of_the_matrix_is_named_by_the_page() -> None:
    matrix = {name for name, path in known_tests().items() if path.name == "test_fault_matrix.py"}
    assert matrix
    named = {test for row in rows() for test in row.tests}
    assert matrix <= named


def test_no_row_comes_twice() -> None:
    faults = [row.fault for row in rows()]
    assert len(faults) == len(set(faults)) >= 25


def test_alarms_in_the_page_have_all_been_thought_of() -> None:
    """An alarm that no row names is about the air alone."""
    named = {alarm for row in rows() for alarm in row.alarms}
    of_the_air = {
        "high_co2",
        "cold",
        "high_humidity",
        "severe_humidity",
        "condensation",
        "ventilation_limit",
    }
    assert set(BY_NAME) - named == of_the_air


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("2 h 3 min", 7380.0),
        ("4 s", 4.0),
        ("1 min 2 s after", 62.0),
        ("4 d", 345_600.0),
        ("—", None),
    ],
)
def test_times_are_read(text: str, seconds: float | None) -> None:
    assert seconds_of(text) == seconds


def test_the_page_stays_one_page() -> None:
    text = PAGE.read_text(encoding="utf-8")
    assert len(text.splitlines()) < 150
    assert Path(PAGE).name in (ROOT / "systemd" / "INSTALL.md").read_text(encoding="utf-8")
