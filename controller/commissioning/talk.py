"""Questions to the person at the rig, or answers prepared in a file."""

from __future__ import annotations

import re
import sys
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Literal, Protocol, TypeVar

from controller.errors import UserError
from controller.tables import wrapped

T = TypeVar("T")

DIRECTIONS = {
    "in": "drawn into the tent",
    "out": "blown out of it",
    "still": "hanging still",
    "unsure": "can't tell",
}


@dataclass(frozen=True, slots=True)
class Question:
    """One thing that only a person can say.

    Attributes
    ----------
    kind : {"consent", "fact", "direction", "temperature", "humidity"}
        A consent must be given to go on; everything else may stay open.
    text : str
        The question.
    open_answer : str
        What is taken when nobody says: "no", "unsure" or "".
    """

    kind: Literal["consent", "fact", "direction", "temperature", "humidity"]
    text: str
    open_answer: str = ""


QUESTIONS: Mapping[str, Question] = {
    "cautions_read": Question("consent", "Have you read this, and is the rig as it says?"),
    "sensors_together": Question(
        "fact",
        "Do all the sensors hang side by side now, in still shade, for a quarter of an hour?",
        "no",
    ),
    "thermometer": Question(
        "temperature",
        "What does a thermometer you trust say right beside them (empty: none)?",
    ),
    "hygrometer": Question(
        "humidity", "What does a hygrometer you trust say beside them (empty: none)?"
    ),
    "hands_clear": Question(
        "consent",
        "The fan may start from here on. Is its guard on, is everything loose out of reach, are "
        "hands clear?",
    ),
    "air_at_slowest": Question(
        "direction",
        "Hold a strip of tissue at the tent's intake opening: what does the air do with it?",
        "unsure",
    ),
    "air_at_full": Question(
        "direction",
        "Full speed now. Hold a strip of tissue at the tent's intake opening: what does the air do "
        "with it?",
        "unsure",
    ),
    "air_undriven": Question(
        "direction",
        "Nothing drives the fan's wire now, as when the Pi starts or is dead. Hold a strip of "
        "tissue at the tent's intake opening: what does the air do with it?",
        "unsure",
    ),
    "tent_closed": Question(
        "consent",
        "Now the air change. Close the tent, lamp on, plants watered or a damp cloth hung up; "
        "sensors back in their places. Ready?",
    ),
}


# What a line begins with before its text: blanks, a list's dash, the mark of a finding.
_BEGINNING = re.compile(r"\s*(?:[-✓→✗…] )?")


def fitted(text: str, width: int) -> str:
    """The lines of a text broken to a width, each going on where its own text begins.

    Parameters
    ----------
    text : str
        One line or several.
    width : int
        Columns.
    """
    lines: list[str] = []
    for line in text.split("\n"):
        match = _BEGINNING.match(line)
        first = match[0] if match else ""
        lines += wrapped(line[len(first) :], width, first=first)
    return "\n".join(lines)


class Talk(Protocol):
    """Says and asks."""

    def say(self, text: str) -> None:
        """Print a text."""

    def consents(self, key: str) -> bool:
        """Ask for a go-ahead."""

    def fact(self, key: str) -> bool:
        """Ask whether something is so."""

    def direction(self, key: str) -> str:
        """Ask where the air goes: a key of `DIRECTIONS`."""

    def value(self, key: str) -> float | None:
        """Ask for a measured value, in SI; None when there is none."""


_WORDS = {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}


def read_yes_or_no(text: str) -> bool | None:
    """True, False, or None for neither."""
    return _WORDS.get(text.strip().lower())


def read_direction(text: str) -> str | None:
    """A key of `DIRECTIONS` by its name or first letter, or None."""
    word = text.strip().lower()
    return next((name for name in DIRECTIONS if word and name.startswith(word)), None)


def read_value(text: str, kind: str) -> float | None:
    """A quantity in SI, None for an empty text; ValueError for anything else."""
    from controller.units import parse

    return parse(text, kind) if text.strip() else None


class TerminalTalk:
    """Asks at the terminal and asks again until it understands.

    Parameters
    ----------
    ask : callable
        Shows a prompt and gives what was typed.
    tell : callable
        Shows a line.
    """

    def __init__(
        self, ask: Callable[[str], str] = input, tell: Callable[[str], None] = print
    ) -> None:
        self._ask = ask
        self.say = tell

    def consents(self, key: str) -> bool:
        """Ask for a go-ahead."""
        return self._until_understood(key, "yes/no", read_yes_or_no)

    def fact(self, key: str) -> bool:
        """Ask whether something is so."""
        return self._until_understood(key, "yes/no", read_yes_or_no)

    def direction(self, key: str) -> str:
        """Ask where the air goes."""
        names = ", ".join(f"{name} = {meaning}" for name, meaning in DIRECTIONS.items())
        return self._until_understood(key, names, read_direction)

    def value(self, key: str) -> float | None:
        """Ask for a value with its unit; an empty line means none."""
        question = QUESTIONS[key]
        while True:
            try:
                return read_value(self._answer(f"{question.text} "), question.kind)
            except ValueError as error:
                self.say(f"{error}")

    def _until_understood(self, key: str, hint: str, read: Callable[[str], T | None]) -> T:
        while True:
            understood = read(self._answer(f"{QUESTIONS[key].text} [{hint}] "))
            if understood is not None:
                return understood

    def _answer(self, prompt: str) -> str:
        try:
            return self._ask(prompt)
        except EOFError:
            raise UserError(
                "the terminal was closed in the middle of a question; nothing goes on unseen"
            ) from None


class PreparedTalk:
    """Answers from a file; what it doesn't say stays open.

    Parameters
    ----------
    answers : mapping of str to object
        By the keys of `QUESTIONS`; booleans or texts.
    consent : bool
        Whether every consent is given that `answers` doesn't mention.
    tell : callable
        Shows a line.

    Raises
    ------
    UserError
        If a key is unknown or an answer doesn't fit its question.
    """

    def __init__(
        self,
        answers: Mapping[str, object],
        *,
        consent: bool = False,
        tell: Callable[[str], None] = print,
    ) -> None:
        self._consent = consent
        self.say = tell
        self._answers = {key: _as_text(key, value) for key, value in answers.items()}
        for key in self._answers:
            self._check(key)

    def consents(self, key: str) -> bool:
        """The go-ahead given beforehand."""
        if key in self._answers:
            return bool(read_yes_or_no(self._answers[key]))
        if self._consent:
            return True
        raise UserError(
            f"nobody is there to answer {key!r} ({QUESTIONS[key].text}): "
            f"give '{key}: yes' in the file of answers, or --yes",
            status=2,
        )

    def fact(self, key: str) -> bool:
        """What was said beforehand."""
        return bool(read_yes_or_no(self._given(key)))

    def direction(self, key: str) -> str:
        """What was seen beforehand."""
        return read_direction(self._given(key)) or "unsure"

    def value(self, key: str) -> float | None:
        """What was measured beforehand."""
        return read_value(self._given(key), QUESTIONS[key].kind)

    def _given(self, key: str) -> str:
        return self._answers.get(key, QUESTIONS[key].open_answer)

    def _check(self, key: str) -> None:
        question, text = QUESTIONS[key], self._answers[key]
        expected = None
        if question.kind in ("consent", "fact"):
            expected = None if read_yes_or_no(text) is not None else "yes or no"
        elif question.kind == "direction":
            expected = None if read_direction(text) else f"one of {', '.join(DIRECTIONS)}"
        else:
            try:
                read_value(text, question.kind)
            except ValueError as error:
                expected = str(error).partition("expected ")[2] or "a quantity with its unit"
        if expected:
            raise UserError(f"answers: {key}: {text!r}; expected {expected}", status=2)


def _as_text(key: str, value: object) -> str:
    if key not in QUESTIONS:
        import difflib

        near = difflib.get_close_matches(key, QUESTIONS, 1)
        hint = f"did you mean {near[0]!r}?" if near else f"known are {', '.join(QUESTIONS)}"
        raise UserError(f"answers: there is no question {key!r}; {hint}", status=2)
    if isinstance(value, bool):  # YAML reads a bare yes as true
        return "yes" if value else "no"
    return "" if value is None else str(value)


def terminal_is_there() -> bool:
    """Whether a person can be asked."""
    return sys.stdin.isatty()
