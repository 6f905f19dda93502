"""Run the tests that the failure policy names, and gather what came of each; see `faults.sh`."""

from __future__ import annotations

import argparse
import datetime as dt
import json
import os
import subprocess
import sys
import tempfile
import xml.etree.ElementTree as ET
from collections import defaultdict
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parents[1]
RESULT = HERE / "results" / "faults.json"
sys.path.insert(0, str(HERE.parent / "faults"))

from policy import known_tests, rows  # noqa: E402


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("-n", default="2", help="processes")
    args = parser.parse_args()
    named = {test: known_tests()[test] for row in rows() for test in row.tests}
    if args.short:
        tests = f"{len(rows())} faults, {len(named)} tests"
        print(f"faults: {tests}: run by pytest before, four days each")
        return 0
    with tempfile.TemporaryDirectory() as folder:
        status, verdicts, outcomes = run(named, Path(folder), args.n)
    faults = []
    for row in rows():
        theirs = [verdict for test in row.tests for verdict in verdicts.get(test, ["missing"])]
        seen = [outcome for test in row.tests for outcome in outcomes.get(test, [])]
        faults.append(
            {
                "fault": row.fault,
                "within_s": row.within_s,
                "tests": len(theirs),
                "held": all(verdict == "passed" for verdict in theirs),
                "simulated_days": sum(outcome["days"] for outcome in seen) if seen else None,
                "seconds_to_safe_state": max(
                    (outcome["seconds_to_safe_state"] for outcome in seen), default=None
                ),
                "readings_lost": sum(outcome["readings_lost"] for outcome in seen)
                if seen
                else None,
            }
        )
    for fault in faults:
        if not fault["held"]:
            print(f"faults: not held: {fault['fault']}", file=sys.stderr)
    date = dt.datetime.now(dt.UTC).date().isoformat()
    RESULT.parent.mkdir(exist_ok=True)
    RESULT.write_text(
        json.dumps(
            {"bench": "faults", "date": date, "faults": faults}, indent=1, ensure_ascii=False
        )
        + "\n",
        encoding="utf-8",
    )
    return status


def run(
    named: dict[str, Path], folder: Path, processes: str
) -> tuple[int, dict[str, list[str]], dict[str, list[dict[str, float]]]]:
    """Run the tests; gives pytest's status, the verdicts and the outcomes by test."""
    report, lines = folder / "report.xml", folder / "outcomes"
    files = sorted({str(path) for path in named.values()})
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-n", processes, f"--junitxml={report}",
         "-k", " or ".join(named), *files],
        cwd=ROOT,
        env=os.environ | {"LUNGWORT_FAULT_OUTCOMES": str(lines), "LUNGWORT_FAULT_DAYS": "30"},
        check=False,
    )  # fmt: skip
    verdicts: dict[str, list[str]] = defaultdict(list)
    for case in ET.parse(report).iter("testcase"):
        bad = [child.tag for child in case if child.tag in ("failure", "error", "skipped")]
        verdicts[case.attrib["name"].partition("[")[0]].append(bad[0] if bad else "passed")
    outcomes: dict[str, list[dict[str, float]]] = defaultdict(list)
    for line in lines.read_text(encoding="utf-8").splitlines():
        outcome = json.loads(line)
        outcomes[outcome["test"]].append(outcome)
    return done.returncode, verdicts, outcomes


if __name__ == "__main__":
    raise SystemExit(main())
