"""Put the figures of `learning.sh` and `flow_change.sh` into DEVELOPERS.md, between its two marks.

python tests/benches/learning_table.py
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
PAGE = HERE.parents[1] / "DEVELOPERS.md"
RESULT = HERE / "results" / "learning.json"
FLOW = HERE / "results" / "flow_change.json"
START, END = "<!-- learning -->\n", "<!-- end of learning -->"

NAMES = {
    "wall_w_per_k": "heat loss of the fabric",
    "contents_j_per_k": "heat held by the contents",
    "contents_w_per_k": "their exchange with the air",
    "flow_share": "the fan's flow",
    "leakage_m3_s": "leakage",
    "lamp_to_contents": "lamp's heat onto the contents",
    "transpiration_lit": "transpiration, lit",
    "transpiration_dark": "transpiration, dark",
}


def text(figures: dict[str, Any]) -> str:
    """All that stands between the marks."""
    windows, refused = figures["windows"], figures["refused"]
    lines = [
        f"| {windows} weeks, {refused} refused; RMSE of the next day's peak, the room known | K |",
        "| --- | ---: |",
        f"| as configured | {figures['peak_rmse_as_configured_k']:.2f} |",
        f"| learned | {figures['peak_rmse_k']:.2f} |",
        f"| of these, tents of the model's own structure | "
        f"{figures['peak_rmse_own_structure_k']:.2f} |",
        f"| of another structure | {figures['peak_rmse_other_structure_k']:.2f} |",
        "",
        "| parameter | learned in | median error | of the config | truth in its 90 % interval |",
        "| --- | ---: | ---: | ---: | ---: |",
    ]
    for name, title in NAMES.items():
        row = figures["parameters"][name]
        error, held = row["median_error_pct"], row["held_pct"]
        lines.append(
            f"| {title} | {row['told']} of {windows - refused} | "
            f"{'–' if error is None else f'{error} %'} | {row['configured_error_pct']} % | "
            f"{'–' if held is None else f'{held} %'} |"
        )
    lines.append(
        f"| all | | | | {figures['held_pct']} % (own structure "
        f"{figures['held_own_structure_pct']} %, another {figures['held_other_structure_pct']} %) |"
    )
    lines += ["", f"A fit of seven days took {figures['cpu_s']} s of processor time."]
    return "\n".join(lines) + "\n"


def flow_text(figures: dict[str, Any]) -> str:
    """What came of clogging filters."""
    tents = [one for one in figures["tents"] if "refused" not in one]
    lines = [
        "",
        "| resistance tenfold within a week; flow left | tents | found | days, at most |",
        "| --- | ---: | ---: | ---: |",
    ]
    for low, high, title in (
        (0.0, 0.6, "up to 60 %"),
        (0.6, 0.85, "60 to 85 %"),
        (0.85, 1.01, "more"),
    ):
        there = [one["found_after_days"] for one in tents if low < one["flow_left"] <= high]
        took = [days for days in there if days is not None]
        most = f"{max(took):.0f}" if took else "–"
        lines.append(f"| {title} | {len(there)} | {len(took)} | {most} |")
    false = sum(one["false"] > 0 for one in tents)
    lines += [
        "",
        f"Without a fault, a fall was said on {false} of {len(tents)} tents in "
        f"{figures['days']:g} days (`flow_change.sh`).",
    ]
    return "\n".join(lines) + "\n"


def main() -> None:
    """Renew the table."""
    page = PAGE.read_text(encoding="utf-8")
    before, rest = page.split(START)
    _, after = rest.split(END)
    table = text(json.loads(RESULT.read_text(encoding="utf-8")))
    table += flow_text(json.loads(FLOW.read_text(encoding="utf-8")))
    PAGE.write_text(before + START + table + END + after, encoding="utf-8")


if __name__ == "__main__":
    main()
