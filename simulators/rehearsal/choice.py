"""Which of several configs on the same days to take, and whether there is anything to choose."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Any, NamedTuple

from simulators.rehearsal.compare import are_alike, merits
from simulators.rehearsal.outcome import Outcome
from simulators.rehearsal.verdict import TentVerdict, verdict

if TYPE_CHECKING:
    from controller.config import Settings


class Preference(NamedTuple):
    """Which of several configs to take, in words, and how sure that is."""

    sentences: tuple[str, ...]
    best: int
    alike: bool
    verdict: TentVerdict

    @property
    def text(self) -> str:
        """The sentences in a row."""
        return " ".join(self.sentences)

    def to_json(self) -> dict[str, Any]:
        """As `lungwort compare --json` and `sweep --json` give it; `best` counts the rows as
        rehearsed."""
        return {
            "text": self.text,
            "nothing_to_choose": self.alike,
            "best_fit": self.verdict.is_fit,
            "best_out_of_band": self.verdict.to_json()["out_of_band"],
        }


def choice(
    outcomes: Sequence[Outcome], names: Sequence[str], settings: Sequence[Settings]
) -> Preference:
    """Say which of several configs on the same days does least harm, and what limits it.

    Parameters
    ----------
    outcomes, names, settings
        One each a config; `names` as a sentence can use them.
    """
    best = min(range(len(outcomes)), key=lambda i: (merits(outcomes[i]), i))
    judged = verdict(outcomes[best], settings[best])
    if are_alike(outcomes):
        first = (
            f"Nothing to choose between these {len(outcomes)}: harm, energy and starts are the "
            "same as far as a model can tell."
        )
        return Preference((first, *judged.sentences[:1]), best, True, judged)
    others = [outcome for i, outcome in enumerate(outcomes) if i != best]
    harms = _range([f"{outcome.harm:.0f}" for outcome in sorted(others, key=lambda o: o.harm)])
    shares = _range([f"{share:.0%}" for share in sorted(o.share_within for o in others)])
    first = (
        f"Least harm, {outcomes[best].harm:.0f}, as far as a model can tell: {names[best]}; "
        f"in band {outcomes[best].share_within:.0%} of the time. "
        f"{'The other' if len(others) == 1 else 'The others'}: {harms}, in band {shares}."
    )
    return Preference((first, *judged.sentences[:1]), best, False, judged)


def _range(ascending: Sequence[str]) -> str:
    low, high = ascending[0], ascending[-1]
    return low if low == high else f"{low} to {high}"
