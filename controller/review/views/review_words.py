"""Sentences and headings that depend on the review as a whole."""

from __future__ import annotations

from controller.display import hours_and_minutes
from controller.review.report import Review

SIMULATED = "A simulation wrote this record: no real tent stands behind it."


def missing_words(review: Review) -> str:
    """What the minutes without a value are: of a day that is not over, also those ahead."""
    return "none or ahead" if review.quality.minutes_to_come >= 1.0 else "missing"


def lamp_hours_words(review: Review) -> str:
    """Where the lamp's hours are only the config's, as no wire tells; and when it was cut."""
    is_seen = review.settings.lamp.switched_by in ("relay", "photocell")
    cuts = lamp_cut_words(review)
    return ("" if is_seen else ", by the config's hours") + (f", {cuts}" if cuts else "")


def lamp_cut_words(review: Review) -> str:
    """How often and for how long the lamp was cut for heat; "" if never."""
    cuts = review.quality.lamp_cuts
    length = hours_and_minutes(sum(cut.minutes for cut in cuts))
    times = "" if len(cuts) == 1 else f"{len(cuts)} times, "
    return f"cut for heat {times}for {length}" if cuts else ""


def light_words(review: Review) -> str | None:
    """The daily light integral, marked as the estimate it is."""
    light = review.figures.daily_light
    if light is None:
        return None
    if light.best < 0.95:
        return "Daily light integral: less than 1 mol/m² (estimated from the lamp's power)"
    return (
        f"Daily light integral: about {light.best:.0f} mol/m² "
        f"({light.low:.0f} to {light.high:.0f}; estimated from the lamp's power)"
    )
