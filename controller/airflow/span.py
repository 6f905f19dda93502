"""A figure that is only known within limits."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

Case = Literal["low", "best", "high"]
CASES: tuple[Case, Case, Case] = ("low", "best", "high")
OPPOSITE: dict[Case, Case] = {"low": "high", "best": "best", "high": "low"}


@dataclass(frozen=True, slots=True)
class Span:
    """A best estimate between the lowest and the highest value that is plausible.

    Attributes
    ----------
    low, best, high : float
        In rising order; equal where the figure is known.
    """

    low: float
    best: float
    high: float

    def __post_init__(self) -> None:
        """Refuse limits that are not in order, NaN included."""
        if not self.low <= self.best <= self.high:
            raise ValueError(f"a span rises, got {self.low!r}, {self.best!r}, {self.high!r}")

    @classmethod
    def known(cls, value: float) -> Span:
        """A figure without doubt."""
        return cls(value, value, value)

    @classmethod
    def around(cls, best: float, *others: float) -> Span:
        """The best value within what it and the others reach."""
        return cls(min(best, *others), best, max(best, *others))

    def at(self, case: Case) -> float:
        """The value in one of the three cases."""
        return {"low": self.low, "best": self.best, "high": self.high}[case]

    @property
    def is_known(self) -> bool:
        """Whether the three are one."""
        return self.low == self.high

    def times(self, factor: float) -> Span:
        """Every value times a factor ≥ 0."""
        return Span(self.low * factor, self.best * factor, self.high * factor)


class Assumption(NamedTuple):
    """Something taken for granted because nobody said it.

    Attributes
    ----------
    what : str
        What is assumed, in a few words.
    span : Span
        The figure, in SI.
    kind : str
        What sort of figure it is, for showing it: "pressure", "flow", "length", "area", "power",
        "opening", "temperature", "humidity", "co2", "number", "share", "light",
        "transmittance", "conductance" or "mass".
    basis : str
        Where it comes from.
    option : str
        What to give instead of the assumption.
    """

    what: str
    span: Span
    kind: str
    basis: str
    option: str
