"""What a config means, as short as may be: the verdict, the day, what the fan does and when."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

from controller import display
from controller.commands.check_bands import Given, bands_words
from controller.commands.check_duty import duty_words
from controller.commands.check_fan import weak_fan_caution
from controller.commands.check_rules import OverrideRow, failsafe_row, override_rows
from controller.commands.check_text import day_lines, heat_lines, other_sensors
from controller.control import Quantity
from controller.outputs.failures import fan_failures, standstill_caution
from controller.tables import table_lines, wrapped
from controller.wording import rule_words

if TYPE_CHECKING:
    from controller.config import Loaded, Settings
    from controller.timetable import Timetable

# Below so many columns what an override does stands behind its name instead of in columns.
_NARROW = 56


def verdict_lines(loaded: Loaded, width: int) -> list[str]:
    """Whether the config can be used, and what in it needs attention.

    Parameters
    ----------
    loaded : Loaded
        A checked config, with all its warnings; these are printed before, each with its place.
    width : int
        Columns.
    """
    count = len(loaded.warnings)
    cautions = _cautions(loaded.settings)
    text = "The config can be used."
    if count:
        text += " The warning above needs" if count == 1 else f" The {count} warnings above need"
        text += " your attention."
    elif not cautions:
        text += " Nothing in it needs your attention."
    lines = wrapped(text, width)
    for caution in cautions:
        lines += wrapped(caution, width, first="- ", rest="  ")
    return lines


def brief_text(
    settings: Settings,
    timetable: Timetable,
    date: dt.date,
    *,
    given: Given = frozenset(),
    ascii_only: bool = False,
    width: int = 80,
) -> str:
    """The timeline of a local day, the bands, and what the fan does out of them.

    Parameters
    ----------
    settings, timetable, date, given, ascii_only, width
        As of `controller.commands.check_text.as_text`.
    """
    return "\n".join(
        [
            *day_lines(settings, timetable, date, ascii_only, width),
            "",
            *bands_words(settings, given, width),
            *_overrides(settings, width),
            "",
            *wrapped(f"Failsafe: {failsafe_row(settings)['text']}.", width),
            *other_sensors(settings, width),
            *heat_lines(settings, width),
            *_failures(settings, width),
        ]
    )


def _cautions(settings: Settings) -> list[str]:
    """What may do harm, and its remedy."""
    cautions = weak_fan_caution(settings), standstill_caution(settings)
    unknown: dict[str, list[str]] = {}
    for row in fan_failures(settings):
        if row.speed is None:
            unknown.setdefault(row.why, []).append(row.name)
    return [
        *(caution for caution in cautions if caution is not None),
        *(
            f"What the fan does is not known, {'; '.join(names)}: {why}."
            for why, names in unknown.items()
        ),
    ]


def _overrides(settings: Settings, width: int) -> list[str]:
    """What the fan does out of each band, a line where day and night, and quantities, agree."""
    rows = override_rows(settings)
    answers: dict[tuple[str, str], list[OverrideRow]] = {}
    for row in rows:
        answers.setdefault((_name(row), row.acts()), []).append(row)
    names = [name for name, _ in answers]
    cells = [
        (f"  {name}{_by(alike) if names.count(name) > 1 else ''}", acts, _after(alike))
        for (name, acts), alike in answers.items()
    ]
    if width < _NARROW:
        lines = wrapped("Out of them the fan leaves its schedule", width)
        for name, acts, after in cells:
            lines += wrapped(f"{name.strip()}: {acts}, {after}", width, first="  ", rest="    ")
    else:
        lines = [
            "Out of them the fan leaves its schedule",
            *table_lines(("",) * 3, cells, width, align="<<<"),
        ]
    if any(row.is_modulated for row in rows):
        lines += wrapped(
            "Up to: modulated, it takes the slowest speed that is worth its power.", width
        )
    duty = duty_words(settings)
    if duty:
        lines += wrapped(f"Dark duty: {duty}.", width)
    return lines


def _name(row: OverrideRow) -> str:
    if row.kind.quantity is Quantity.DEW_POINT:
        return "near dew point"
    if row.kind.quantity is Quantity.CO2:
        return "too stale (CO2)"
    return rule_words(row.kind.rule)


def _by(rows: list[OverrideRow]) -> str:
    """By which quantity, where the two of a rule differ."""
    names = {Quantity.HUMIDITY: " by humidity", Quantity.VPD: " by VPD"}
    return names.get(rows[0].kind.quantity, "")


def _after(rows: list[OverrideRow]) -> str:
    shortest, longest = (pick(row.delay_s for row in rows) for pick in (min, max))
    if not longest:
        return "at once"
    least = "" if shortest == longest else f"{display.duration(shortest)} to "
    return f"after {least}{display.duration(longest)}"


def _failures(settings: Settings, width: int) -> list[str]:
    """What failures do to the fan, by what it does then."""
    groups: dict[str, list[str]] = {}
    for row in fan_failures(settings):
        does = "not known" if row.speed is None else display.fan(row.speed)
        groups.setdefault(does, []).append(row.name)
    cells = [(f"  {does}", "; ".join(names)) for does, names in groups.items()]
    return [
        *wrapped("Failures, wired as the README says; 'lungwort commission' tries it", width),
        *table_lines(("",) * 2, cells, width, align="<<"),
    ]
