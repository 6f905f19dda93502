"""Answers, gathered one by one: each is held against the config's own checks as it comes."""

from __future__ import annotations

import re
import textwrap
from collections.abc import Callable, Mapping
from typing import NamedTuple

from controller.config import ConfigError, Loaded, settings_from_text
from controller.config.quantities import RefusedError
from controller.errors import UserError
from controller.new_config.questions import QUESTIONS, Answers, Question
from controller.new_config.text import bands_comment, config_text

_WIDTH = 79
# An answer stands in no line yet, and who was asked knows what for.
_PLACE = re.compile(r"^`[a-z_.]+`: | in line [0-9]+")


class NewConfig(NamedTuple):
    """A config that passed the checks.

    Attributes
    ----------
    text : str
        What to write.
    loaded : Loaded
        The same, checked.
    """

    text: str
    loaded: Loaded


def accept(question: Question, text: str, answers: Answers, defaults: Answers) -> str:
    """The answer in the form that is kept.

    Parameters
    ----------
    question : Question
        What was asked.
    text : str
        What was answered.
    answers : mapping
        The other answers so far.
    defaults : mapping
        Defaults that are this machine's, by key.

    Raises
    ------
    RefusedError
        If it doesn't fit, in the words of the config's checks.
    """
    text = text.strip()
    if question.choices:
        text = _choice(question, text)
    whole = complete(answers, defaults)
    if not text or not text.isprintable():
        what = "it has a sign that can't be printed" if text else "nothing was said"
        raise RefusedError(what, f"an answer such as {default_of(question, whole, defaults)}")
    text = question.read(text, whole)
    try:
        build(complete({**answers, question.key: text}, defaults))
    except ConfigError as error:
        problem = error.problems[0]
        raise RefusedError(_PLACE.sub("", problem.message), problem.expected) from None
    return text


def _choice(question: Question, text: str) -> str:
    """A choice by its name or by a beginning that no other has."""
    word = text.lower().replace("-", "_").replace(" ", "_")
    if word in question.choices:
        return word
    begun = [name for name in question.choices if word and name.startswith(word)]
    if len(begun) != 1:
        raise RefusedError(
            f"{text!r} is none of the answers", f"one of {', '.join(question.choices)}"
        )
    return begun[0]


def complete(answers: Answers, defaults: Answers) -> dict[str, str]:
    """The answers, with the default for each that is open."""
    whole = dict(answers)
    for question in QUESTIONS:
        if question.key not in whole and question.applies(whole):
            whole[question.key] = default_of(question, whole, defaults)
    return whole


def default_of(question: Question, answers: Answers, defaults: Answers) -> str:
    """This machine's default, or else the question's."""
    return defaults.get(question.key) or question.default(answers)


def build(answers: Answers) -> NewConfig:
    """The config of a complete set of answers.

    Raises
    ------
    ConfigError
        If it does not pass the config's checks.
    """
    text = config_text(answers)
    text += bands_comment(settings_from_text(text).settings)
    return NewConfig(text, settings_from_text(text))


def check_given(given: Answers, defaults: Answers) -> dict[str, str]:
    """Answers given beforehand, in the form that is kept.

    Raises
    ------
    UserError
        If one doesn't fit, by its flag.
    """
    kept = {"name": given["name"]}
    try:
        build(complete(kept, defaults))
    except ConfigError as error:
        problem = error.problems[0]
        message = _PLACE.sub("", problem.message)
        raise UserError(f"--name: {message}; expected {problem.expected}", status=2) from None
    for question in QUESTIONS:
        if question.key not in given:
            continue
        so_far = complete(kept, defaults)
        if not question.applies(so_far):
            what = (
                f"a {so_far['sensor']} is on the I2C bus and"
                if question.key == "sensor_pin"
                else "a fan on a converter"
            )
            raise UserError(
                f"{question.flag}: {what} has no pin of its own; leave it out", status=2
            )
        try:
            kept[question.key] = accept(question, given[question.key], kept, defaults)
        except RefusedError as error:
            raise UserError(f"{question.flag}: {error}", status=2) from None
    return kept


def ask(
    given: Answers,
    defaults: Answers,
    ask_line: Callable[[str], str],
    tell: Callable[[str], None],
) -> dict[str, str]:
    """Ask what isn't given, each until the answer fits; an empty line takes the default.

    Parameters
    ----------
    given : mapping
        Answers given beforehand, checked; the tent's `name` among them.
    defaults : mapping
        Defaults that are this machine's, by key.
    ask_line : callable
        Shows a prompt and gives what was typed.
    tell : callable
        Shows a line.

    Raises
    ------
    UserError
        If the terminal is closed meanwhile.
    """
    answers = dict(given)
    for question in QUESTIONS:
        if question.key in answers or not question.applies(answers):
            continue
        _present(question, answers, tell)
        default = default_of(question, answers, defaults)
        while question.key not in answers:
            try:
                text = ask_line(f"[{default}] ")
                answers[question.key] = accept(question, text.strip() or default, answers, defaults)
            except RefusedError as error:
                tell(_filled(f"{error}", "  "))
            except EOFError:
                raise UserError(
                    "the terminal was closed in the middle of a question; nothing was written"
                ) from None
    return answers


def _present(question: Question, answers: Mapping[str, str], tell: Callable[[str], None]) -> None:
    tell("")
    tell(_filled(question.text, ""))
    width = max(map(len, question.choices), default=0)
    for name, meaning in question.choices.items():
        tell(f"  {name:{width}}  {meaning}".rstrip())
    tell(_filled(question.why(answers), "  "))


def _filled(text: str, indent: str) -> str:
    return textwrap.fill(text, _WIDTH, initial_indent=indent, subsequent_indent=indent)
