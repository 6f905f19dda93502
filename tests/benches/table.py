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


def result(name: str) -> dict[str, Any] | None:
    """What a bench left; None without."""
    path = RESULTS / f"{name}.json"
    if not path.exists():
        return None
    found: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    return found


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
    found: list[tuple[str, str]] = []
    if (faults := result("faults")) is not None:
        of = faults["faults"]
        lived = [f for f in of if f["simulated_days"] is not None]
        found += [
            ("faults tried", number(len(of))),
            ("of these held", number(sum(f["held"] for f in of))),
            ("simulated days lived with them", number(sum(f["simulated_days"] for f in lived))),
            ("readings lost to them", number(sum(f["readings_lost"] for f in lived))),
        ]
    else:
        found.append(("faults tried", NOT_RUN))
    if (cuts := result("power_cut")) is not None:
        took_s = cuts["power_to_fan_s"]
        found += [
            ("power cuts of a real machine (Debian guest)", number(cuts["cuts"])),
            ("of these survived, the record whole", number(cuts["survived"])),
            ("acknowledged events lost", f"{cuts['events_lost']} of {cuts['events_acknowledged']}"),
            (
                "from power to the right fan, under emulation",
                f"{took_s['median']:.0f} s, at most {took_s['most']:.0f} s",
            ),
        ]
    else:
        found.append(("power cuts survived", NOT_RUN))
    if (hour := result("guest_hour")) is not None:
        of = f"{hour['events']} events in {hour['minutes']:.0f} min of an emulated guest, scaled"
        found += [
            (f"written to the disk in a day (two sensors, {of})", f"{hour['mb_a_day']:.1f} MB"),
            ("cache flushes in a day, likewise", number(hour["flushes_a_day"])),
        ]
    if (soak := result("soak")) is not None:
        memory = soak["resident_mib"]
        found += [
            ("soak", f"{soak['simulated_days']} simulated days"),
            ("ticks lost in it", number(soak["ticks_expected"] - soak["ticks"])),
            (
                "memory after its start and at its end",
                f"{memory['after_start']:.1f} and {memory['at_end']:.1f} MiB",
            ),
        ]
    else:
        found.append(("soak", NOT_RUN))
    if (fuzz := result("fuzz")) is not None:
        for target in fuzz["targets"]:
            found.append(
                (
                    f"fuzz inputs, {target['target']} ({target['engine']})",
                    f"{number(target['inputs'])}, {target['crashes']} failed",
                )
            )
    else:
        found.append(("fuzz inputs", NOT_RUN))
    if (exposure := result("exposure")) is not None:
        found.append(
            ("exposure (systemd-analyze security; 10 is worst)", f"{exposure['level']:.1f}")
        )
    else:
        found.append(("exposure", NOT_RUN))
    return found


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
