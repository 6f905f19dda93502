"""Tables, facts and sentences: whatever they hold, they fit, and nothing is lost."""

from __future__ import annotations

import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from controller.tables import fact_lines, table_lines, terminal_width, wrapped

ROWS = [["lit", "12 h", "71 %"], ["dark", "3 h", "9 %"]]
HEADINGS = ["phase", "too hot", "in band"]


def test_a_table_that_fits_has_its_columns_lined_up() -> None:
    assert table_lines(HEADINGS, ROWS, 80) == [
        "phase  too hot  in band",
        "lit       12 h     71 %",
        "dark       3 h      9 %",
    ]


def test_a_table_that_does_not_fit_is_a_list_of_one_fact_a_line() -> None:
    rows = [["lit", "12 h 10 min", "71.5 %"], ["dark", "3 h 20 min", "9.5 %"]]
    assert table_lines(["", *HEADINGS[1:]], rows, 22) == [
        "lit",
        "  too hot: 12 h 10 min",
        "  in band: 71.5 %",
        "dark",
        "  too hot: 3 h 20 min",
        "  in band: 9.5 %",
    ]


def test_before_it_is_a_list_a_table_narrows_its_gaps_and_stacks_its_headings() -> None:
    rows = [["15 min", "40 %", "3 h"], ["1 h", "100 %", "12 h"]]
    headings = ["pre run", "day speed", "too hot"]
    assert table_lines(headings, rows, 26, align=">>>")[0] == "pre run day speed too hot"
    assert table_lines(headings, rows, 17, align=">>>") == [
        "   pre   day  too",
        "   run speed  hot",
        "15 min  40 %  3 h",
        "   1 h 100 % 12 h",
    ]
    assert table_lines(headings, rows, 16)[0] == "pre run 15 min"


def test_several_columns_may_name_a_row_and_empty_cells_are_left_out() -> None:
    rows = [["15 min", "40 %", "*", "", "3 h", "21.4 °C"]]
    headings = ["pre run", "day speed", "", "VPD", "too hot", "hottest"]
    assert table_lines(headings, rows, 26, keys=3) == [
        "pre run 15 min, day speed",
        "40 % *",
        "  too hot: 3 h",
        "  hottest: 21.4 °C",
    ]


def test_a_last_column_of_text_is_wrapped_beside_the_others() -> None:
    rows = [["14:05", "the fan went from 40 % to 100 %: too hot in the tent"]]
    assert table_lines(["time", "event"], rows, 44, align="<<") == [
        "time   event",
        "14:05  the fan went from 40 % to 100 %: too",
        "       hot in the tent",
    ]


def test_a_table_without_headings_or_rows_draws_none() -> None:
    assert table_lines(["", ""], [["a", "1"]], 80) == ["a  1"]
    assert table_lines(["", ""], [], 80) == []


def test_a_number_stays_with_its_unit() -> None:
    assert wrapped("the room is at 24.5 °C now", 20) == ["the room is at", "24.5 °C now"]


def test_facts_stand_beside_their_labels_or_on_a_phone_below_them() -> None:
    facts = [("Fan", "120 h, 3 starts, mean speed 52 %"), ("", "by the schedule alone: 2 kWh")]
    assert fact_lines(facts, 80) == [
        "Fan        120 h, 3 starts, mean speed 52 %",
        "           by the schedule alone: 2 kWh",
    ]
    assert fact_lines(facts, 30) == [
        "Fan: 120 h, 3 starts, mean",
        "  speed 52 %",
        "  by the schedule alone: 2 kWh",
    ]


words = st.lists(st.text("abcefghijklmno0123456789°", min_size=1, max_size=8), max_size=9)
cells = words.map(" ".join)


@given(st.integers(1, 6).flatmap(lambda n: st.tuples(
    st.lists(cells, min_size=n, max_size=n),
    st.lists(st.lists(cells, min_size=n, max_size=n), max_size=5),
    st.text("<>", min_size=n, max_size=n),
)), st.integers(24, 100))  # fmt: skip
def test_every_table_fits_and_keeps_every_word(
    table: tuple[list[str], list[list[str]], str], width: int
) -> None:
    headings, rows, align = table
    lines = table_lines(headings, rows, width, align=align)
    assert all(len(line) <= width for line in lines)
    shown = sorted(" ".join(lines).replace(":", " ").replace(",", " ").split())
    for row in rows:
        for word in " ".join(row).split():
            assert word in shown


def test_the_width_is_the_terminals_within_reason(monkeypatch: pytest.MonkeyPatch) -> None:
    for columns, width in (("40", 40), ("300", 100), ("3", 20)):
        monkeypatch.setenv("COLUMNS", columns)
        assert terminal_width() == width
    monkeypatch.delenv("COLUMNS")
    monkeypatch.setattr(os, "get_terminal_size", lambda _fd: (_ for _ in ()).throw(OSError))
    assert terminal_width() == 80
