"""Put the figures of the benches into systemd/UNATTENDED.md, between its two marks.

    python tests/benches/table.py

The figures come out of `results/*.json`; `faults.sh`, `fuzz.sh`, `guest_hour.sh`, `power_cut.sh`
and `soak.sh` renew those. The exposure is asked of systemd-analyze here, where there is one.
"""

from __future__ import annotations

import json
import re
import subprocess
from pathlib import Path
from typing import Any

from marked import renew

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
RESULTS = HERE / "results"
PAGE = ROOT / "systemd" / "UNATTENDED.md"
NOT_RUN = "not run yet"
_CUT_GUESTS = {
    "Debian 12, by hand": "power_cut",
    "Debian 13, the package": "power_cut_trixie",
}


def result(name: str) -> dict[str, Any] | None:
    """What a bench left; None without."""
    path = RESULTS / f"{name}.json"
    if not path.exists():
        return None
    figures: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return figures


def measure_exposure() -> None:
    """Ask systemd-analyze how exposed the unit is."""
    done = subprocess.run(
        [ROOT / "systemd" / "verify.sh"], capture_output=True, text=True, check=False
    )
    level = re.search(r"exposure level ([\d.]+) \(at most ([\d.]+)\)", done.stdout)
    if level is None:
        print(f"table: the exposure was not measured: {(done.stderr or done.stdout).strip()}")
        return
    figures = {"bench": "exposure", "level": float(level[1]), "at_most": float(level[2])}
    RESULTS.mkdir(exist_ok=True)
    (RESULTS / "exposure.json").write_text(json.dumps(figures) + "\n", encoding="utf-8")


def number(value: float) -> str:
    """A figure with its thousands set apart."""
    return f"{value:,.0f}".replace(",", " ")  # a narrow space that doesn't break


def rows() -> list[tuple[str, str]]:
    """The figures, one a row."""
    figures: list[tuple[str, str]] = []
    if (faults := result("faults")) is not None:
        tried = faults["faults"]
        lived = [f for f in tried if f["simulated_days"] is not None]
        figures += [
            ("faults tried", number(len(tried))),
            ("of these held", number(sum(f["held"] for f in tried))),
            ("simulated days lived with them", number(sum(f["simulated_days"] for f in lived))),
            ("readings lost to them", number(sum(f["readings_lost"] for f in lived))),
        ]
    else:
        figures.append(("faults tried", NOT_RUN))
    for guest, name in _CUT_GUESTS.items():
        if (cuts := result(name)) is not None:
            took_s = cuts["power_to_fan_s"]
            figures += [
                (f"power cuts of an emulated machine, {guest}", number(cuts["cuts"])),
                ("of these survived, the record whole", number(cuts["survived"])),
                (
                    "acknowledged events lost",
                    f"{cuts['events_lost']} of {cuts['events_acknowledged']}",
                ),
                (
                    "from power to the right fan, under emulation",
                    f"{took_s['median']:.0f} s, at most {took_s['most']:.0f} s",
                ),
            ]
        else:
            figures.append((f"power cuts survived, {guest}", NOT_RUN))
    if (hour := result("guest_hour")) is not None:
        events = f"{hour['events']} events in {hour['minutes']:.0f} min"
        scaled = f"two sensors, {events} of an emulated guest, scaled"
        figures += [
            (
                f"written to the disk in a day ({scaled})",
                f"{hour['mb_a_day']:.1f} MB",
            ),
            ("cache flushes in a day, likewise", number(hour["flushes_a_day"])),
        ]
    if (soak := result("soak")) is not None:
        memory = soak["resident_mib"]
        figures += [
            ("soak", f"{soak['simulated_days']} simulated days"),
            ("ticks lost in it", number(soak["ticks_expected"] - soak["ticks"])),
            (
                "memory after its start and at its end",
                f"{memory['after_start']:.1f} and {memory['at_end']:.1f} MiB",
            ),
        ]
    else:
        figures.append(("soak", NOT_RUN))
    if (fuzz := result("fuzz")) is not None:
        for target in fuzz["targets"]:
            figures.append(
                (
                    f"fuzz inputs, {target['target']} ({target['engine']})",
                    f"{number(target['inputs'])}, {target['crashes']} failed",
                )
            )
    else:
        figures.append(("fuzz inputs", NOT_RUN))
    if (exposure := result("exposure")) is not None:
        figures.append(
            ("exposure (systemd-analyze security; 10 is worst)", f"{exposure['level']:.1f}")
        )
    else:
        figures.append(("exposure", NOT_RUN))
    return figures


def text() -> str:
    """All that stands between the marks."""
    lines = ["| | |", "| --- | ---: |", *(f"| {what} | {value} |" for what, value in rows())]
    if (faults := result("faults")) is not None:
        lines += [
            "",
            "| 30 simulated days with each fault | safe after | allowed |",
            "| --- | ---: | ---: |",
        ]
        for fault in faults["faults"]:
            if fault["seconds_to_safe_state"] is not None:
                took, allowed = fault["seconds_to_safe_state"], fault["within_s"]
                lines.append(f"| {fault['fault']} | {number(took)} s | {number(allowed)} s |")
    return "\n".join(lines) + "\n"


def main() -> None:
    """Renew the table."""
    measure_exposure()
    renew(PAGE, "figures", text())


if __name__ == "__main__":
    main()
