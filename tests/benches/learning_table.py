"""Put what `learning.sh` and the benches beside it found between DEVELOPERS.md's marks.

python tests/benches/learning_table.py
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from marked import renew

HERE = Path(__file__).resolve().parent
PAGE = HERE.parents[1] / "DEVELOPERS.md"
RESULT = HERE / "results" / "learning.json"
FLOW = HERE / "results" / "flow_change.json"
SMALL = HERE / "results" / "learning_small_errors.json"
UNMODELLED = HERE / "results" / "learning_unmodelled.json"
SUDDEN = HERE / "results" / "sudden.json"
NORMAL_90 = 1.6449

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
    fitted = [window for window in figures["each"] if "refused" not in window]
    held = sum(abs(w["peak_error_k"]) <= NORMAL_90 * w["fit_k"] for w in fitted)
    if SMALL.exists():
        small = json.loads(SMALL.read_text(encoding="utf-8"))
        lines += [
            "",
            f"With the errors of an SHT4x alone ({small['windows']} weeks): RMSE of the peak "
            f"{small['peak_rmse_k']:.2f} K, truth in {small['held_pct']} % of the intervals.",
        ]
    lines += [
        "",
        f"The next day's peak lay within ± {NORMAL_90:.2f} of the fit's own misfit in {held} of "
        f"{len(fitted)} weeks, {100.0 * held / len(fitted):.0f} %: nobody is shown that interval; "
        f"those of `tomorrow` come from its own past errors. A fit of seven days took "
        f"{figures['cpu_s']} s of processor time.",
    ]
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


def sudden_text(figures: dict[str, Any]) -> str:
    """What came of changes within hours."""
    tents = [one for one in figures["tents"] if "refused" not in one]
    lines = [
        "",
        "| a fault that changes the readings by 5 % or 1 K | tents | called so | "
        "or a sensor | called otherwise | lit hours, median and most |",
        "| --- | ---: | ---: | ---: | ---: | ---: |",
    ]
    for fault, kind in EXPECTED.items():
        large = [one[fault] for one in tents if _shows(one[fault])]
        right = [one for one in large if one["called"] == kind]
        # What a sensor would show as well is said of both: a sensor's fault is then one of two.
        either = [one for one in large if one.get("or_sensor")]
        named = [*right, *(one for one in either if kind == "sensor_drift")]
        wrong = sum(one["called"] is not None and one not in named for one in large)
        hours = sorted(one["found_after_lit_h"] for one in named)
        took = f"{hours[len(hours) // 2]:.1f}, {hours[-1]:.1f}" if hours else "–"
        counts = f"{len(large)} | {len(right)} | {len(either)} | {wrong}"
        lines.append(f"| {fault} | {counts} | {took} |")
    small = [one[fault] for one in tents for fault in EXPECTED if not _shows(one[fault])]
    false = sum(one["without"]["false"] + one["without"]["false_drifts"] > 0 for one in tents)
    drifts = []
    for fault in ("humidity drifts", "temperature drifts"):
        of_tents = [one[fault] for one in tents if "refused" not in one.get(fault, {"refused": 1})]
        if of_tents:
            drifts.append(f"{fault}, {sum(one['found'] for one in of_tents)} of {len(of_tents)}")
    slow = f"Of 5 % or 1 K a month, found after a month: {'; '.join(drifts)}. " if drifts else ""
    lines += [
        "",
        f"Smaller ones: {len(small)}, of which {sum(one['called'] is not None for one in small)} "
        f"were called something. {slow}Without a "
        f"fault something was said on {false} of {len(tents)} tents in {figures['days']:g} days "
        "(`sudden.sh`; half of them of another structure than the model).",
    ]
    return "\n".join(lines) + "\n"


def unmodelled_text(figures: dict[str, Any]) -> str:
    """What is said of tents in which something acts that no config knows."""
    lines = [
        "",
        "| acts on the tent, unknown to the config | tents | refused | figures learned | "
        "a tenth and more outside their intervals |",
        "| --- | ---: | ---: | ---: | ---: |",
    ]
    for case, row in figures["cases"].items():
        counts = f"{row['tents']} | {row['refused']} | {row['figures']} | {row['lies']}"
        lines.append(f"| {case} | {counts} |")
    return "\n".join(lines) + "\n"


EXPECTED = {
    "wilting": "reduced_transpiration",
    "door open": "little_rise",
    "humidity jumps": "sensor_drift",
    "temperature jumps": "sensor_drift",
    "fan dead": "less_air",
}


def _shows(fault: dict[str, Any]) -> bool:
    """Whether it changes what the sensor reads by more than tents differ from day to day."""
    return abs(fault["effect_humidity_pct"]) >= 5.0 or abs(fault["effect_temperature_c"]) >= 1.0


def main() -> None:
    """Renew the table."""
    table = text(json.loads(RESULT.read_text(encoding="utf-8")))
    table += flow_text(json.loads(FLOW.read_text(encoding="utf-8")))
    if SUDDEN.exists():
        table += sudden_text(json.loads(SUDDEN.read_text(encoding="utf-8")))
    if UNMODELLED.exists():
        table += unmodelled_text(json.loads(UNMODELLED.read_text(encoding="utf-8")))
    renew(PAGE, "learning", table)


if __name__ == "__main__":
    main()
