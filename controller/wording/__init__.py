"""Reasons and events in plain words: the one place for them."""

from controller.wording.crop import default_bands_words, heat_effect
from controller.wording.energy import FAN_LAWS, assumed_power_words
from controller.wording.events import event_words
from controller.wording.fields import field_words, quantity_words
from controller.wording.reasons import change_words, reason_words, rule_words

__all__ = [
    "FAN_LAWS",
    "assumed_power_words",
    "change_words",
    "default_bands_words",
    "event_words",
    "field_words",
    "heat_effect",
    "quantity_words",
    "reason_words",
    "rule_words",
]
