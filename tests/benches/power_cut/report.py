"""The figures of a run, and what of them is wrong."""

from __future__ import annotations

import statistics
from collections import Counter
from typing import Any

from cuts import COMMIT_EVERY_S, INTERVAL_S, LATE_S, Life
from unit_checks import Checks


def figures_of(life: Life, checks: Checks) -> dict[str, Any]:
    """Sum a run up, as what goes into the results file."""
    cuts = life.cuts
    whole = [c for c in cuts if c.integrity == "ok" and not c.set_aside]
    unrecorded = [c.unrecorded_s for c in cuts if c.unrecorded_s is not None]
    wrong = [f"unit check: {failed}" for failed in checks.figures()["failed"]]
    wrong += [
        f"cut {n}: integrity check: {c.integrity}"
        for n, c in enumerate(cuts, 1)
        if c.integrity != "ok"
    ]
    if any(c.set_aside for c in cuts):
        wrong.append("a record was found damaged and set aside")
    if any(c.lost for c in cuts):
        wrong.append(f"{max(c.lost for c in cuts)} acknowledged events are lost")
    if any(c.readings_gone for c in cuts):
        wrong.append(f"{max(c.readings_gone for c in cuts)} readings that had been seen are gone")
    if unrecorded and max(unrecorded) > COMMIT_EVERY_S + INTERVAL_S + LATE_S:
        wrong.append(f"{max(unrecorded):.1f} s before a cut are not recorded")
    wrong += [
        f"cut {n}: the fan line had the levels {c.fan_levels}"
        for n, c in enumerate(cuts, 1)
        if c.fan_levels != [1]
    ]
    if life.broke is not None:
        wrong.append(life.broke)
    elif life.control_lost == 0:
        wrong.append("the control lost nothing: this bench would not notice a loss")
    # Of the last cut, since it counts over the whole life.
    last = cuts[-1]
    return {
        "bench": "power_cut",
        "unit_checks": checks.figures(),
        "cuts": len(cuts),
        "survived": len(whole),
        "cuts_by_fate": dict(Counter(c.fate for c in cuts)),
        "cuts_while_booting": sum(c.while_booting for c in cuts),
        "boots_with_wrong_clock": sum(c.clock_wrong for c in cuts),
        "blocks_unflushed": spread([float(c.blocks_unflushed) for c in cuts]),
        "events_acknowledged": last.acknowledged,
        "events_lost": max(c.lost for c in cuts),
        "readings_seen": len({s.newest_ms for s in life.seen}),
        "readings_seen_lost": max(c.readings_gone for c in cuts),
        "reading_interval_s": INTERVAL_S,
        "commit_every_s": COMMIT_EVERY_S,
        "unrecorded_s": spread(unrecorded),
        "power_to_unit_s": spread([c.power_to_unit_s for c in cuts]),
        "unit_to_fan_s": spread([c.unit_to_fan_s for c in cuts]),
        "power_to_fan_s": spread([c.power_to_fan_s for c in cuts]),
        "control_events_lost": life.control_lost,
        "wrong": wrong,
        "each": [c._asdict() for c in cuts],
    }


def spread(values: list[float]) -> dict[str, float] | None:
    """Least, middle and most of some figures."""
    if not values:
        return None
    return {
        "least": round(min(values), 2),
        "median": round(statistics.median(values), 2),
        "most": round(max(values), 2),
    }


def table(figures: dict[str, Any]) -> str:
    """Give the figures as text."""

    def three(name: str) -> str:
        s = figures[name]
        return "-" if s is None else f"{s['least']:g} / {s['median']:g} / {s['most']:g}"

    unit = figures["unit_checks"]
    fates = ", ".join(f"{count} {fate}" for fate, count in figures["cuts_by_fate"].items())
    rows = [
        ("unit checks held", f"{unit['held']} of {unit['checked']}"),
        ("memory of the service", f"{unit.get('memory_mib', '-')} MiB"),
        ("from a hang to parked", f"{unit.get('hang_to_parked_s', '-')} s"),
        ("power cuts survived", f"{figures['survived']} of {figures['cuts']}"),
        ("  unflushed writes", fates),
        ("  while booting", f"{figures['cuts_while_booting']}"),
        ("  then a wrong clock", f"{figures['boots_with_wrong_clock']}"),
        ("  blocks not flushed", f"{three('blocks_unflushed')} (least / median / most)"),
        ("events acknowledged", f"{figures['events_acknowledged']}"),
        ("events lost", f"{figures['events_lost']}"),
        ("readings seen", f"{figures['readings_seen']}"),
        ("readings seen and lost", f"{figures['readings_seen_lost']}"),
        (
            "not recorded at a cut",
            f"{three('unrecorded_s')} s (one reading every {figures['reading_interval_s']:g} s, "
            f"written after {figures['commit_every_s']:g} s at the latest)",
        ),
        ("power-on to unit start", f"{three('power_to_unit_s')} s"),
        ("unit start to right fan", f"{three('unit_to_fan_s')} s"),
        ("power-on to right fan", f"{three('power_to_fan_s')} s"),
        ("control: a disk that lies", _control(figures["control_events_lost"])),
    ]
    return "\n".join(f"{name:28}{value}" for name, value in rows)


def _control(lost: int | None) -> str:
    return "not tried" if lost is None else f"{lost} lost events noticed"
