"""What YAML does to people who edit it twice a year, and what others do with YAML."""

from __future__ import annotations

import datetime
import time
from pathlib import Path

import pytest
from settings_texts import GOOD, errors, good, load, marked, places

from controller.config import ConfigError, load_settings


@pytest.mark.parametrize(
    ("on", "off", "lights_on", "lights_off"),
    [
        ("6:00", "22:30", (6, 0), (22, 30)),  # YAML 1.1 reads these as 360 and 1350
        ("06:00", "18:00:00", (6, 0), (18, 0)),
        ("'6:00'", '"22:30"', (6, 0), (22, 30)),
        ("6:00 am", "10:30 pm", (6, 0), (22, 30)),
        ("12:00 am", "12:00 PM", (0, 0), (12, 0)),
        ("6am", "10 p.m.", (6, 0), (22, 0)),
        ("0:00", "24:00", (0, 0), (0, 0)),
    ],
)
def test_clock_times_are_what_they_look_like(
    on: str, off: str, lights_on: tuple[int, int], lights_off: tuple[int, int]
) -> None:
    photoperiod = load(
        good(
            lamp=f"{{power: 150 W, photoperiod: {{on: {on}, off: {off}}}}}",
            schedule="{pre_run: 0, run_on: 0}",
        )
    ).settings.lamp.photoperiod
    assert photoperiod.lights_on == datetime.time(*lights_on)
    assert photoperiod.lights_off == datetime.time(*lights_off)


def test_on_and_off_are_keys_and_not_booleans_in_block_style() -> None:
    text = good(lamp="\n  power: 150 W\n  photoperiod:\n    on: 20:00\n    off: 12:00")
    assert load(text).settings.lamp.photoperiod.lights_on == datetime.time(20)


@pytest.mark.parametrize(
    ("written", "meant"),
    [("yes", True), ("no", False), ("on", True), ("Off", False), ("TRUE", True), ("false", False)],
)
def test_yes_and_no_are_booleans_where_one_is_wanted(written: str, meant: bool) -> None:
    text = good(fan=f"{{drive: pwm, pin: 18, active_low: {written}}}")
    assert load(text).settings.fan.active_low is meant


@pytest.mark.parametrize("word", ["yes", "no", "on", "off", "null_", "1e3", "2024-01-01", "0x1f"])
def test_a_name_stays_the_text_that_was_written(word: str) -> None:
    text = good(tent=f"{{name: {word}, width: 80 cm, depth: 80 cm, height: 160 cm}}")
    assert load(text).settings.tent.name == word


def test_no_as_a_zone_is_not_false() -> None:
    (problem,) = errors(good(place="{timezone: no}"))
    assert "unknown time zone 'no'" in problem.message


def test_one_duplicate_names_both_lines_and_does_not_hide_other_problems() -> None:
    text, (second, other) = marked(
        "tent: {width: 80 cm, depth: 80 cm, height: 160 cm}\n"
        "place: {timezone: Europe/Rome}\n"
        "lamp: {power: 150 W, photoperiod: {on: 06:00, off: 22:00}}\n"
        "fan:\n"
        "  pin: 18\n"
        "  ▸pin: 19\n"
        "  drive: ▸realy\n"
        "sensors: [{name: canopy, role: tent, driver: dht22, pin: 4}]\n"
    )
    problems = errors(text)
    assert places(problems) == [second, other]
    assert str(problems[0]) == (
        "tent.yaml:6:3: `pin` is given twice, in line 5 and in line 6; expected each key once"
    )


def test_a_byte_order_mark_is_accepted(tmp_path: Path) -> None:
    path = tmp_path / "tent.yaml"
    path.write_bytes(b"\xef\xbb\xbf" + GOOD.encode())
    assert load_settings(path).settings == load(GOOD).settings


def test_windows_line_ends_are_accepted(tmp_path: Path) -> None:
    path = tmp_path / "tent.yaml"
    path.write_bytes(GOOD.replace("\n", "\r\n").encode())
    assert load_settings(path).settings == load(GOOD).settings


@pytest.mark.parametrize(
    ("data", "line", "column", "said"),
    [
        (
            b"tent: {name: caf\xe9}\n",
            1,
            17,
            "byte 0xe9 is not UTF-8; expected a file saved as UTF-8",
        ),
        ("tent: é\nlamp: ".encode() + b"\xff", 2, 7, "byte 0xff is not UTF-8"),
        (b"SQLite format 3\0" + bytes(100_000), 1, 1, "this is a record; expected a config, and"),
        (GOOD.encode("utf-16"), 1, 1, "the file is UTF-16; expected a file saved as UTF-8"),
        (b"", 1, 1, "the file is empty; expected the sections tent, place, lamp, fan, sensors"),
        (b"# nothing yet\n", 1, 1, "the file is empty"),
        (b"---\n", 1, 1, "the file is empty"),
        (b"#" * 70_000, 1, 1, "the file is too long; expected a config of at most 64 KiB"),
        (b"- tent\n- lamp\n", 1, 1, "the file holds a list; expected a mapping"),
        (b"just words\n", 1, 1, "the file holds a single value; expected a mapping"),
        (b"tent:\n\twidth: 80 cm\n", 2, 1, "a tab stands where YAML wants spaces"),
        (b"tent:\n  width: 80 cm\n\tdepth: 80 cm\n", 3, 1, "a tab stands where"),
        (b"tent:\n  width: 80 cm\n   depth: 80 cm\n", 3, 9, "a colon stands where no key can"),
        (
            b"tent: {width: 80 cm\nfan: {pin: 18}\n",
            2,
            4,
            "a mapping is opened with { and not closed",
        ),
        (b"tent: [1, 2\n", 2, 1, "a list is opened with [ and not closed"),
        (b"tent: 'x\n", 2, 1, "a quote is opened and never closed"),
        (b"tent: %\n", 1, 7, "a value cannot start with %; expected the number first, e.g. 60 %"),
        (b"tent: \x07\n", 1, 7, "the character U+0007 may not stand in a config"),
        (b"fan: {pin: 18}\n---\nfan: {pin: 18}\n", 2, 1, "a second document starts here"),
        (b"? [a, b]\n: c\n", 1, 3, "this cannot be a key"),
        (b"%YAML 9.9\n---\na: b\n", 1, 1, "this is not YAML"),
        (b"tent: *nowhere\n", 1, 7, "the alias *nowhere refers to nothing above it"),
        (b"tent: &a [*a]\n", 1, 11, "the alias *a refers to nothing above it"),
    ],
)
def test_what_is_not_a_config_is_refused_with_its_place(
    tmp_path: Path, data: bytes, line: int, column: int, said: str
) -> None:
    path = tmp_path / "tent.yaml"
    path.write_bytes(data)
    with pytest.raises(ConfigError) as caught:
        load_settings(path)
    assert str(caught.value.problems[0]).startswith(f"{path}:{line}:{column}: {said}")
    assert caught.value.status == 2


@pytest.mark.parametrize(
    "tag",
    ["!!python/object/apply:os.system", "!!python/name:os.system", "!custom", "!!binary", "!!set"],
)
def test_tags_are_refused_and_nothing_runs(tag: str, tmp_path: Path) -> None:
    text, (place,) = marked(f"tent: ▸{tag} [touch {tmp_path}/ran]\n")
    (problem,) = errors(text)
    assert places((problem,)) == [place]
    assert problem.message == f"the tag {tag} is refused"
    assert not (tmp_path / "ran").exists()


@pytest.mark.parametrize(
    ("name", "code"),
    [
        ('"a\\nb"', "000A"),
        ('"\\e[31m"', "001B"),
        ('"\\0"', "0000"),
        ('"\\ud800"', "D800"),
        ('"\\u2028"', "2028"),
    ],
)
def test_a_name_cannot_smuggle_control_characters(name: str, code: str) -> None:
    text, (place,) = marked(f"tent: {{name: ▸{name}}}\n")
    (problem,) = errors(text)
    assert places((problem,)) == [place]
    assert problem.message == f"the character U+{code} may not stand in a value"


@pytest.mark.parametrize("key", ['"a\\tb"', "!a%0Ab x"])
def test_a_message_stays_on_its_line(key: str) -> None:
    problems = errors(f"{key}: 1\n{key}: 2\n")
    assert problems
    for problem in problems:
        assert str(problem).isprintable()


@pytest.mark.parametrize("name", ["Chili-Ecke über’m Sofa", "茄子", "👩‍🌾 tent", '"two  words"'])
def test_a_name_may_be_in_any_language(name: str) -> None:
    text = good(tent=f"{{name: {name}, width: 80 cm, depth: 80 cm, height: 160 cm}}")
    assert load(text).settings.tent.name == name.strip('"')


def test_a_block_scalar_loses_its_line_end() -> None:
    text = good(
        tent="\n  name: >\n    upper\n    shelf\n  width: 80 cm\n  depth: 80 cm\n  height: 2 m"
    )
    assert load(text).settings.tent.name == "upper shelf"


def test_an_alias_bomb_stops_early() -> None:
    levels = ["a0: &a0 [x, x, x, x, x, x, x, x, x]\n"]
    for level in range(1, 30):
        reference = ", ".join([f"*a{level - 1}"] * 9)
        levels.append(f"a{level}: &a{level} [{reference}]\n")
    before = time.process_time()
    (problem,) = errors("".join(levels))
    assert problem.message.startswith("the file holds too many values")
    assert (
        time.process_time() - before < 5.0
    )  # never mind the figure: without the bound it is years


@pytest.mark.parametrize("opening", ["[", "{a: ", "- "])
def test_deep_nesting_stops_early(opening: str) -> None:
    (problem,) = errors("tent: " * (opening != "- ") + opening * 5000)
    assert problem.message == "lists and mappings are nested too deep"


def test_an_alias_may_share_a_band() -> None:
    text = good(
        targets="\n  day: {humidity: &band [45 %, 65 %]}\n  night: {humidity: *band}",
    )
    targets = load(text).settings.targets
    assert targets.day.humidity_pct == targets.night.humidity_pct == (45.0, 65.0)


def test_merge_keys_are_refused_by_name() -> None:
    (problem,) = errors(good(targets="\n  day: &d {humidity: [45 %, 65 %]}\n  night: {<<: *d}"))
    assert problem.message == "merge keys (`<<`) are not taken"


@pytest.mark.parametrize("nothing", ["", "~", "null", "none"])
def test_a_key_without_a_value_counts_as_not_given(nothing: str) -> None:
    assert (
        load(good(schedule=nothing, energy=f"{{price: {nothing}}}")).settings == load(GOOD).settings
    )


def test_a_required_key_without_a_value_is_reported_as_such() -> None:
    text, (place,) = marked(good(fan="\n  pin: 18\n  tachometer:\n    ▸pin:"))
    (problem,) = errors(text)
    assert places((problem,)) == [place]
    assert problem.message == "`fan.tachometer.pin` has no value"


def test_an_unknown_key_without_a_value_is_still_unknown() -> None:
    # `lead: 1,5 h` between braces is a `lead: 1` and a key `5 h` without a value.
    problems = errors(good(schedule="{pre_run: 1,5 h}"))
    assert [problem.message for problem in problems] == [
        "`schedule.pre_run`: 1 has no unit",
        "`schedule` has no key `5 h`",
    ]


def test_a_missing_file_is_reported_without_a_line(tmp_path: Path) -> None:
    with pytest.raises(ConfigError) as caught:
        load_settings(tmp_path / "no.yaml")
    assert str(caught.value) == (
        f"{tmp_path}/no.yaml: cannot be read: No such file or directory; expected a config file"
    )


@pytest.mark.parametrize("behind", [" #180 W", "", "   # by the label"])
def test_a_key_with_nothing_behind_it_is_a_warning(behind: str) -> None:
    text, expected_places = marked(
        good(lamp=f"\n  ▸power:{behind}\n  photoperiod: {{on: 06:00, off: 22:00}}")
    )
    (warning,) = load(text).warnings
    assert warning.message == "nothing stands behind `lamp.power`, so that its default holds"
    assert places((warning,)) == expected_places


@pytest.mark.parametrize("written", ["lamp: {power: none, photoperiod: {on: 6:00, off: 22:00}}"])
def test_a_default_that_is_written_as_none_is_no_warning(written: str) -> None:
    assert load(good(lamp=written.removeprefix("lamp: "), notify="# nobody")).warnings == ()


def test_a_lamp_without_a_power_is_a_warning_since_every_figure_rests_on_it() -> None:
    (warning,) = load(good(lamp="{photoperiod: {on: 06:00, off: 22:00}}")).warnings
    assert warning.message == "the lamp's power is not given; 100 W is assumed"
