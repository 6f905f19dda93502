"""The JSON of what an override's modulated speeds brought, and its schema."""

from __future__ import annotations

from typing import Any

from controller.review.overrides import Override
from controller.review.report import Review
from controller.review.views.cause_words import speed_effect_words
from controller.review.views.json_fields import Field, Layout, number, object_schema, text, values

_LAYOUT: Layout = (
    text("text", "The same in words.", speed_effect_words),
    number("energy_kwh", "What the fan drew while the override set its speed.",
           lambda _, o: o.speed_effect.energy_kwh, 6, least=0),
    number("scheduled_kwh", "What it would have drawn at the scheduled speed.",
           lambda _, o: o.speed_effect.scheduled_kwh, 6, least=0),
    number("fastest_kwh", "What it would have drawn as fast as the override allows.",
           lambda _, o: o.speed_effect.fastest_kwh, 6, least=0),
    number("fastest", "That speed, 0-1.", lambda _, o: o.speed_effect.fastest, 4, least=0),
    number("modelled", "The quantity as simulated at the speeds that were run, on average, in "
           "extreme_unit.", lambda _, o: o.speed_effect.modelled, 4),
    number("observed", "The same as observed.", lambda _, o: o.speed_effect.observed, 4),
    number("at_scheduled", "The same as simulated at the scheduled speed.",
           lambda _, o: o.speed_effect.at_scheduled, 4),
    number("at_fastest", "The same as simulated as fast as the override allows.",
           lambda _, o: o.speed_effect.at_fastest, 4),
)  # fmt: skip


def _speed_effect(review: Review, override: Override) -> dict[str, Any] | None:
    return None if override.speed_effect is None else values(_LAYOUT, review, override)


SPEED_EFFECT = Field(
    "speed_effect",
    object_schema(
        _LAYOUT,
        "What its modulated speeds brought, by simulations in the recorded intake air that agree "
        "with what was observed; null where the record does not tell, or speeds are fixed.",
        null=True,
    ),
    _speed_effect,
)
