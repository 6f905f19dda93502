"""Put the figures of `tomorrow.sh` and `tomorrow_nightly.sh` between DEVELOPERS.md's marks.

python tests/benches/tomorrow_table.py
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from marked import renew

HERE = Path(__file__).resolve().parent
PAGE = HERE.parents[1] / "DEVELOPERS.md"
RESULT = HERE / "results" / "tomorrow.json"
NIGHTLY = HERE / "results" / "tomorrow_nightly.json"
CHANGES = {
    "none": "nothing",
    "lamp": "another lamp, a third stronger, and its config",
    "fan": "another fan, half as strong again, not in the config",
    "door": "a door open for good",
}


def row(title: str, figures: dict[str, Any]) -> str:
    """A line of the table."""
    return (
        f"| {title} | {figures['evenings']} | {figures['as_today_rmse_k']:.2f} | "
        f"{figures['rmse_k']:.2f} | {figures['better_pct']:.0f} % | {figures['held_pct']:.0f} % | "
        f"{figures['no_file_rmse_k']:.2f} | {figures['no_file_held_pct']:.0f} % |"
    )


def text(figures: dict[str, Any]) -> str:
    """All that stands between the marks."""
    lines = [
        "| next day's peak, RMSE [K] | evenings | as today | with a forecast | better | "
        "in the 90 % interval | without a file | in the interval |",
        "| --- | ---: | ---: | ---: | ---: | ---: | ---: | ---: |",
        *(row(season, result) for season, result in figures["seasons"].items()),
        row("all", figures),
        "",
        "| hours of the next day, mean absolute error [h] | as today | with a forecast | "
        "in the 90 % interval |",
        "| --- | ---: | ---: | ---: |",
    ]
    for word, title in (("hot", "too hot"), ("humid", "too humid")):
        lines.append(
            f"| {title} | {figures[f'as_today_{word}_error_h']:.1f} | "
            f"{figures[f'{word}_error_h']:.1f} | {figures[f'{word}_held_pct']:.0f} % |"
        )
    lines += [
        "",
        f"{figures['tents']} tents in {figures['windows']} seasons in all; {figures['learned']} "
        "times the first week told of the tent, else it ran as configured. Half an interval of the "
        f"peak was {figures['mean_half_k']:.1f} K on average.",
    ]
    return "\n".join(lines) + "\n"


def nightly_text(figures: dict[str, Any]) -> str:
    """What was foreseen at 03:00, and of tents that changed."""
    lines = [
        "",
        "| next day's peak as foreseen at 03:00, RMSE [K]; what changes half-way | nights | "
        "as today | with a forecast | in the 90 % interval | half of it |",
        "| --- | ---: | ---: | ---: | ---: | ---: |",
    ]
    for change, result in figures["changes"].items():
        lines.append(
            f"| {CHANGES[change]} | {result['nights']} | {result['as_today_rmse_k']:.2f} | "
            f"{result['rmse_k']:.2f} | {result['held_pct']} % | {result['half_k']:.1f} K |"
        )
    return "\n".join(lines) + "\n"


def main() -> None:
    """Renew the table."""
    table = text(json.loads(RESULT.read_text(encoding="utf-8")))
    if NIGHTLY.exists():
        table += nightly_text(json.loads(NIGHTLY.read_text(encoding="utf-8")))
    renew(PAGE, "tomorrow", table)


if __name__ == "__main__":
    main()
