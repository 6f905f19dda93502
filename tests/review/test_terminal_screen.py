"""The screen: the headline first, as wide as the terminal, no sign that it cannot show."""

import contextlib
import io
import re
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from review_records import CONFIG, HandRecord, known_day

from controller.review.open_record import Asked, open_source
from controller.review.report import Review, build
from controller.review.series import Point, read_series
from controller.review.views.glyphs import Canvas, Glyphs
from controller.review.views.terminal import screen


def shown(record: HandRecord, glyphs: Glyphs, asked: Asked | None = None, width: int = 80) -> str:
    with open_source(record.loaded, record.path, asked or Asked()) as source:
        review = build(source, record.loaded.settings)
        return "\n".join(screen(review, read_series(source, 288), glyphs, width=width))


@pytest.fixture
def record(tmp_path: Path) -> HandRecord:
    made = HandRecord(tmp_path)
    known_day(made)
    return made


@pytest.mark.parametrize(
    ("fan", "sentence"),
    [
        (
            "{drive: pwm, pin: 18, free_flow: 187 m³/h, max_pressure: 150 Pa}",
            r"Fan: fan\.power isn't given; [0-9.]+ W at full speed is assumed, by its flow and "
            r"pressure\.",
        ),
        (
            "{drive: pwm, pin: 18}",
            r"Fan: not known, the config gives neither its power nor its flow\.",
        ),
        (
            "{drive: pwm, pin: 18, power: 20 W}",
            r"by the fan laws, its speed cubed: motor and electronics take a watt or more besides",
        ),
    ],
)
def test_the_screen_says_what_power_the_fans_energy_goes_by(
    tmp_path: Path, fan: str, sentence: str
) -> None:
    made = HandRecord(tmp_path, re.sub(r"fan: \{.*\}", lambda _: f"fan: {fan}", CONFIG, count=1))
    known_day(made)
    assert re.search(sentence, " ".join(shown(made, Glyphs()).split()))


def test_the_headline_comes_first_in_plain_words(record: HandRecord) -> None:
    assert (
        shown(record, Glyphs())
        .replace("\n", " ")
        .startswith(
            "Thursday 18 July 2013: 27.0 °C at 12:01, 5 h too hot; the fan was already "
            "commanded to full speed from 12:00 to 15:00."
        )
    )


def test_the_headline_does_not_wait_for_advice(record: HandRecord) -> None:
    asked: list[bool] = []

    def advice() -> list[str]:
        asked.append(True)
        return ["Nothing."]

    with open_source(record.loaded, record.path, Asked()) as source:
        review = build(source, record.loaded.settings)
        parts = screen(review, [], Glyphs(), advice=advice)
        assert next(parts).startswith("Thursday 18 July 2013: 27.0 °C")
        assert not asked
        assert "What to change\n  Nothing.\n" in next(parts)


Draw = Callable[[Glyphs, int], str]


@pytest.fixture(scope="module")
def drawn(tmp_path_factory: pytest.TempPathFactory) -> Iterator[list[Draw]]:
    """A day and four days, worked out once and drawn as they are asked for."""
    record = HandRecord(tmp_path_factory.mktemp("drawn"))
    known_day(record)
    record.stretch("24:00", "90:00", temperature=26.0, lit=False)
    record.event("12:00", "alarm.raised", "error", alarm="too_hot", title="far too hot")
    with contextlib.ExitStack() as stack:
        draws: list[Draw] = []
        for asked in (Asked(day="2013-07-18"), Asked(length="4d")):
            source = stack.enter_context(open_source(record.loaded, record.path, asked))
            review, series = build(source, record.loaded.settings), read_series(source, 288)

            def draw(
                glyphs: Glyphs,
                width: int,
                review: Review = review,
                series: list[Point] = series,
            ) -> str:
                return "\n".join(screen(review, series, glyphs, width=width))

            draws.append(draw)
        yield draws


@pytest.mark.parametrize("fancy", [True, False])
@pytest.mark.parametrize("width", [100, 80, 60, 40])
def test_no_line_is_wider_than_the_terminal_and_no_quantity_is_lost(
    drawn: list[Draw], width: int, fancy: bool
) -> None:
    glyphs = Glyphs(fancy=fancy)
    for draw in drawn:
        text = draw(glyphs, width)
        assert max(len(line) for line in text.splitlines()) <= width
        assert quantities(text) == quantities(draw(glyphs, 100))


def quantities(text: str) -> Counter[str]:
    """Every number with its unit, wherever the lines break; those of the chart's axis left out."""
    prose = "\n".join(line for line in text.splitlines() if "│" not in line and "|" not in line)
    return Counter(re.findall(r"\d[\d.:]* ?(?:°?C|%|kPa|kWh|EUR|K h)", prose))


def test_no_line_ends_between_a_number_and_its_unit(drawn: list[Draw]) -> None:
    for width in range(40, 101, 5):
        for draw in drawn:
            assert not re.search(r"\d\n +(?:°C|%|kPa|kWh|h|min|K)\b", draw(Glyphs(), width))


def test_a_table_that_does_not_fit_becomes_a_list(record: HandRecord) -> None:
    assert "  Temperature\n    lowest: 18.0 °C, 00:01\n" in shown(record, Glyphs(), None, 40)
    assert re.search(r"\n  Temperature +18.0 °C, 00:01 ", shown(record, Glyphs(), None, 80))


def test_every_figure_is_on_the_screen(record: HandRecord) -> None:
    text = shown(record, Glyphs())
    for piece in (
        "18.0 °C, 00:01",
        "Degree-hours above the band: 8.0 K h",
        "16 h 40 min running, mean speed 41 %, 2 starts; lamp lit 16 h",
        "schedule 13 h 30 min, too hot 3 h, purge 10 min",
        "Fan, by the schedule alone    0.04 kWh",
        "Fan, at full speed all along  0.48 kWh, 0.14 EUR",
        "12:00–15:00 too hot, 3 h, up to 27.0 °C",
        "1440 readings, none missed.",
    ):
        assert piece in text


def test_us_units_where_the_config_uses_them(tmp_path: Path) -> None:
    text = CONFIG.replace("timezone: Europe/Rome", "timezone: America/New_York, units: us")
    record = HandRecord(tmp_path, text)
    known_day(record)
    assert "80.6 °F at 12:01" in shown(record, Glyphs())
    assert "Degree-hours above the band: 14.4 °F h" in shown(record, Glyphs())


def test_plain_terminals_get_plain_signs(record: HandRecord) -> None:
    text = shown(record, Glyphs(fancy=False))
    assert text.isascii()
    assert "27.0 C at 12:01" in text
    assert "Degree-hours above the band: 8.0 K h" in text


def test_glyphs_follow_what_a_stream_can_show() -> None:
    latin = io.TextIOWrapper(io.BytesIO(), encoding="iso8859-15")
    assert not Glyphs.for_stream(latin).fancy
    assert Glyphs.for_stream(io.TextIOWrapper(io.BytesIO(), encoding="utf-8")).fancy
    assert not Glyphs.for_stream(io.TextIOWrapper(io.BytesIO(), encoding="utf-8"), plain=True).fancy


def test_braille_cells_hold_eight_dots() -> None:
    """Unicode chapter 21.1: dots 1-3 and 7 go down the left, 4-6 and 8 down the right."""
    canvas = Canvas(2, 1)
    for x, y in ((0, 0), (0, 3), (1, 0), (2, 1)):
        canvas.set(x, y)
    assert canvas.lines() == ["⡉⠂"]


def test_a_chart_marks_hours_without_readings(record: HandRecord, tmp_path: Path) -> None:
    folder = tmp_path / "half"
    folder.mkdir()
    half = HandRecord(folder)
    half.stretch("00:00", "12:00")
    fan = next(line for line in shown(half, Glyphs()).splitlines() if line.startswith("     fan"))
    assert fan.endswith("···") and "▄" in fan
