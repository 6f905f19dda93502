"""What commissioning found: one sentence each, and how grave it is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Grade = Literal["fine", "advice", "fault"]


@dataclass(frozen=True, slots=True)
class TrialFinding:
    """One result.

    Attributes
    ----------
    grade : {"fine", "advice", "fault"}
        Whether all is well, something could be better, or the rig must not be left so.
    text : str
        What was found and what to do, in the user's units.
    """

    grade: Grade
    text: str

    def marked(self) -> str:
        """The sentence behind its mark."""
        mark = {"fine": "✓", "advice": "→", "fault": "✗"}[self.grade]
        return f"  {mark} {self.text}"
