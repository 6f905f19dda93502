"""A review shows what the fan moved by the nights' learnings, where there are several."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from typing import Any

import pytest
from review_records import CONFIG, DAY, HandRecord, at, known_day, loaded

from controller.learning.identify import Misfit
from controller.learning.learned import Learned, Parameter
from controller.learning.parameters import NAMES, TentParameters
from controller.review.views.glyphs import Glyphs
from controller.review.views.json_view import document
from controller.review.views.page.build import render_page
from controller.review.views.tables import learned_flow_table
from controller.review.views.terminal import screen

ANOTHER_FAN = CONFIG.replace("free_flow: 187 m³/h", "free_flow: 200 m³/h")


def night(share: float, why_not: str | None = None) -> dict[str, Any]:
    """What a night learned, as the record keeps it."""
    parameters = {name: Parameter(1.0, 0.9, 1.1, 1.0, why_not) for name in NAMES}
    parameters["flow_share"] = Parameter(share, 0.9 * share, 1.1 * share, 1.0, why_not)
    misfit = Misfit(0.1, 1.0)
    fitted = TentParameters(*[1.0] * len(NAMES))
    learned = Learned(0.0, 1.0, 7, 2000, 150.0, fitted, parameters, misfit, misfit, 1.0, ())
    return {"learned": learned.as_json()}


def learned_on(record: HandRecord, days_before: int, result: dict[str, Any]) -> None:
    record.writer.learning(at("03:10", DAY - dt.timedelta(days_before)), result)


def shown(record: HandRecord) -> str:
    return "\n".join(screen(record.review(), [], Glyphs()))


def test_the_learnings_of_the_period_and_four_weeks_before_are_shown_everywhere(
    tmp_path: Path,
) -> None:
    record = HandRecord(tmp_path)
    known_day(record)
    for days_before, share in ((40, 0.95), (20, 0.9), (10, 0.9), (3, 0.7), (0, 0.6), (-1, 0.5)):
        learned_on(record, days_before, night(share))
    review = record.review()
    assert [flow.share for flow in review.learned_flows] == [0.9, 0.9, 0.7, 0.6]
    text = shown(record)
    assert "The fan's flow, as learned" in text
    rows = [line.split() for line in text.splitlines() if line.endswith("%") and " – " in line]
    assert [" ".join(row) for row in rows] == [
        "Fri 28 Jun 90 % 81 – 99 %",
        "Mon 8 Jul 90 % 81 – 99 %",
        "Mon 15 Jul 70 % 63 – 77 %",
        "Thu 18 Jul 60 % 54 – 66 %",
    ]
    page = render_page(review, [], [], 0)
    assert "54 – 66 %" in page.replace("\N{NO-BREAK SPACE}", " ")
    last = document(review)["learned_flows"][-1]
    assert (last["flow_share"], last["low"], last["high"]) == (0.6, 0.54, 0.66)
    assert last["time"].startswith("2013-07-18T03:10")


@pytest.mark.parametrize(
    "nights",
    [
        [],
        [night(0.9)],
        [night(0.9), {"refused": "too few days"}],
        [night(0.9), night(0.9, "the fan never changed its speed")],
        [night(0.9), {"learned": {"of": "another version"}}],
    ],
    ids=["none", "one", "one and a refusal", "one that tells it", "one that can be read"],
)
def test_fewer_than_two_nights_that_tell_the_flow_are_not_shown(
    tmp_path: Path, nights: list[dict[str, Any]]
) -> None:
    record = HandRecord(tmp_path)
    known_day(record)
    for number, result in enumerate(nights):
        learned_on(record, 5 - number, result)
    assert record.review().learned_flows == ()
    assert "as learned" not in shown(record)
    assert "as learned" not in render_page(record.review(), [], [], 0)


def test_what_was_learned_of_another_fan_is_no_comparison(tmp_path: Path) -> None:
    record = HandRecord(tmp_path, ANOTHER_FAN)
    learned_on(record, 9, night(0.9))
    record.config(at("12:00", DAY - dt.timedelta(8)), CONFIG)
    record.loaded = loaded(CONFIG)
    known_day(record)
    learned_on(record, 2, night(1.1))
    learned_on(record, 1, night(1.0))
    assert [flow.share for flow in record.review().learned_flows] == [1.1, 1.0]


def test_of_many_nights_some_are_shown_the_first_and_the_last_among(tmp_path: Path) -> None:
    record = HandRecord(tmp_path)
    known_day(record)
    for days_before in range(27, -1, -1):
        learned_on(record, days_before, night(1.0 - 0.01 * (27 - days_before)))
    review = record.review()
    assert len(review.learned_flows) == 28
    rows = learned_flow_table(review).terminal_rows(review)
    assert len(rows) == 9
    assert (rows[0][0], rows[0][1]) == ("Fri 21 Jun", "100 %")
    assert (rows[-1][0], rows[-1][1]) == ("Thu 18 Jul", "73 %")
    assert "9 of 28 nights" in " ".join(shown(record).split())


def test_the_page_draws_each_night_and_the_reference_week_where_the_flow_fell(
    tmp_path: Path,
) -> None:
    record = HandRecord(tmp_path)
    known_day(record)
    for days_before in range(20, -1, -1):
        learned_on(record, days_before, night(0.9 - 0.01 * (20 - days_before)))
    page = render_page(record.review(), [], [], 0)
    assert page.count("A mark for each night") == 2  # for a wide screen and for a narrow one
    assert "reference week" not in page
    fell = night(0.6)
    fell["learned"]["fall"] = {"since": "2013-07-10T00:00:00+00:00", "usual": 0.9, "now": 0.6}
    record.writer.learning(at("05:10", DAY), fell)
    page = render_page(record.review(), [], [], 0)
    assert page.count("reference week") == 2
