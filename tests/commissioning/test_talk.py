"""Asking at a terminal, and answers prepared in a file."""

import pytest

from controller.commissioning.talk import QUESTIONS, PreparedTalk, TerminalTalk
from controller.errors import UserError


def terminal(*typed):
    lines, shown = iter(typed), []

    def ask(prompt):
        shown.append(prompt)
        try:
            return next(lines)
        except StopIteration:
            raise EOFError from None

    return TerminalTalk(ask, shown.append), shown


def test_terminal_asks_until_it_understands():
    talk, shown = terminal("maybe", "", "Y")
    assert talk.consents("hands_clear") is True
    assert len(shown) == 3
    assert "guard" in shown[0]


def test_direction_may_be_abbreviated():
    talk, _ = terminal("inside?", "o")
    assert talk.direction("air_at_full") == "out"


def test_value_needs_a_unit_and_may_be_left_out():
    talk, shown = terminal("23", "73.4 °F")
    assert talk.value("thermometer") == pytest.approx(23.0)
    assert any("no unit" in line for line in shown)
    assert terminal("")[0].value("thermometer") is None


def test_a_closed_terminal_goes_on_with_nothing():
    with pytest.raises(UserError, match="terminal was closed"):
        terminal()[0].consents("hands_clear")


def test_prepared_answers_are_taken():
    talk = PreparedTalk(
        {
            "cautions_read": True,
            "air_at_full": "in",
            "thermometer": "21 °C",
            "sensors_together": "no",
        }
    )
    assert talk.consents("cautions_read") is True
    assert talk.direction("air_at_full") == "in"
    assert talk.value("thermometer") == 21.0
    assert talk.fact("sensors_together") is False


def test_what_was_not_prepared_stays_open_and_claims_nothing():
    talk = PreparedTalk({}, consent=True)
    assert talk.direction("air_at_full") == "unsure"
    assert talk.fact("sensors_together") is False
    assert talk.value("thermometer") is None


def test_consent_is_never_assumed():
    with pytest.raises(UserError, match="hands_clear") as caught:
        PreparedTalk({"cautions_read": "yes"}).consents("hands_clear")
    assert caught.value.status == 2
    assert PreparedTalk({}, consent=True).consents("hands_clear") is True
    assert PreparedTalk({"hands_clear": False}, consent=True).consents("hands_clear") is False


@pytest.mark.parametrize(
    ("answers", "words"),
    [
        ({"hand_clear": "yes"}, "did you mean 'hands_clear'"),
        ({"hands_clear": "perhaps"}, "yes or no"),
        ({"air_at_full": "sideways"}, "in, out, still, unsure"),
        ({"thermometer": 23}, "write 23 °C or 23 °F"),
        ({"thermometer": "hot"}, "a temperature"),
    ],
)
def test_answers_that_do_not_fit_are_refused_at_once(answers, words):
    with pytest.raises(UserError) as caught:
        PreparedTalk(answers)
    assert words in caught.value.message
    assert caught.value.status == 2


def test_every_question_is_in_the_commands_help():
    from controller.commands.commission import _epilog

    for key in QUESTIONS:
        assert f"{key}:" in _epilog()


def test_each_question_of_direction_stands_by_itself():
    # A fan on a relay is asked about full speed alone.
    for key in ("air_at_slowest", "air_at_full"):
        assert "strip of tissue at the tent's intake opening" in QUESTIONS[key].text
