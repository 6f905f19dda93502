"""Put the figures of `learning.sh` into DEVELOPERS.md, between its two marks.

python tests/benches/learning_table.py
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

HERE = Path(__file__).resolve().parent
PAGE = HERE.parents[1] / "DEVELOPERS.md"
RESULT = HERE / "results" / "learning.json"
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


def main() -> None:
    """Renew the table."""
    page = PAGE.read_text(encoding="utf-8")
    before, rest = page.split(START)
    _, after = rest.split(END)
    figures = json.loads(RESULT.read_text(encoding="utf-8"))
    PAGE.write_text(before + START + text(figures) + END + after, encoding="utf-8")


if __name__ == "__main__":
    main()
