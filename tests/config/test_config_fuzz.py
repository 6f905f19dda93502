"""Whatever the file holds, it loads or is refused with places: no other outcome."""

from __future__ import annotations

import pickle
from pathlib import Path

from examples import examples
from hypothesis import example, given
from hypothesis import strategies as st
from settings_texts import GOOD

from controller.config import ConfigError, Loaded, settings_from_text
from controller.config.load import load_text
from controller.config.yaml_parser import decode

CONFIG = Path(__file__).parents[2] / "config"
CHILLIES = (CONFIG / "chillies.yaml").read_text(encoding="utf-8")

# ruff: noqa: E501
# What breaks YAML, numbers, units and places, to be put anywhere.
SHARDS = st.sampled_from(
    [":", "- ", "{", "}", "[", "]", ",", "&a ", "*a", "!!python/none ", "|", ">", "'", '"', "#",
     "? ", "%", "@", "\t", "\n", "\r", "\u2028", "\x85", "\ufeff", "\x00", "null", "~", "<<: ", "---",
     "...", "1e400", "nan", ".inf", "0x1F", "2024-01-01", "yes", "-", "−", " ", "°", "🌶",
     "tent:", "\n  - {}", "sensors: []", "\\x", "9" * 40]
)  # fmt: skip


def _outcome(text: str) -> Loaded | ConfigError:
    try:
        loaded = settings_from_text(text, "f.yaml")
    except ConfigError as error:
        assert error.problems
        lines = text.count("\n") + text.count("\r") + text.count("\x85") + text.count("\u2028")
        for problem in error.problems:
            assert problem.message and problem.expected
            assert 1 <= problem.line <= lines + text.count("\u2029") + 2
            assert problem.column >= 1
            assert "\n" not in str(problem)
        return error
    # What loads survives the way to the daemon and loads the same again.
    copy = pickle.loads(pickle.dumps(loaded.settings))
    assert copy == loaded.settings
    return loaded


@given(st.text(max_size=200))
@example("a: &a [*a]")
@example("? \n")
@example("- - - - - - - - - - - - - - -")
@example("%YAML 1.99999999999999999999\n--- a")
@example('"\\U00110000"')
@example("!<tag:yaml.org,2002:str> a: b")
def test_any_text_loads_or_is_refused(text: str) -> None:
    _outcome(text)


@given(st.binary(max_size=200))
def test_any_bytes_load_or_are_refused(data: bytes) -> None:
    try:
        load_text(decode(data, "f.yaml"), "f.yaml")
    except ConfigError as error:
        assert error.problems


@examples(25)
@given(
    st.sampled_from([GOOD, CHILLIES]),
    st.lists(
        st.tuples(st.floats(0, 1), st.integers(0, 8), SHARDS | st.text(max_size=4)),
        min_size=1,
        max_size=4,
    ),
)
def test_any_edit_of_a_good_file_loads_or_is_refused(
    text: str, edits: list[tuple[float, int, str]]
) -> None:
    for where, cut, shard in edits:
        at = int(where * len(text))
        text = text[:at] + shard + text[at + cut :]
    _outcome(text)


@examples(25)
@given(st.data())
def test_any_value_anywhere_loads_or_is_refused(data: st.DataObject) -> None:
    lines = CHILLIES.splitlines()
    value = data.draw(
        st.sampled_from(
            ["", "x", "1", "-1", "[]", "[1]", "[1, 2]", "{}", "{a: b}", "none", "true", "9e99 m",
             "[[], {}]", "{on: [x]}", "-999 °C", "0", "[70 °F]", "'", "1:2:3", "00:00", "*x"]
        )
    )  # fmt: skip
    for _ in range(data.draw(st.integers(1, 4))):
        number = data.draw(st.integers(0, len(lines) - 1))
        key, colon, _ = lines[number].partition(":")
        if colon:
            lines[number] = f"{key}: {value}"
    _outcome("\n".join(lines))
