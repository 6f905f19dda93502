"""Emulated processors; ../other_machines.sh is the command and its head the manual."""

from __future__ import annotations

import argparse
import datetime as dt
import json
import math
import re
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path
from typing import Any

from debian_host import StepError, run
from unpacked import ROOT, SUITE, cache_directory, inside, root_of

# Of a figure, relative. Beyond it a machine would decide differently somewhere.
TOLERANCE = 1e-9
CORE = "tests/air tests/airflow tests/control tests/timetable"
# They draw, or reckon by libraries that are no part of the core, or take as long as all others.
# Property tests look for examples: what differs on another processor, fixed ones show as well.
_LEFT_OUT = (
    "-m 'not hypothesis' --ignore=tests/air/test_air_charts.py "
    "--ignore=tests/air/test_air_command.py --ignore=tests/air/test_against_libraries.py "
    "--ignore=tests/timetable/test_timetable_minutes.py --ignore=tests/control/test_most_starts.py "
    "--deselect=tests/timetable/test_timetable.py::test_purges_may_be_shorter_than_a_second"
)
_LONGEST_S = 3 * 3600.0
_NUMBER = re.compile(r"-?\d+(?:\.\d+)?(?:[eE][-+]?\d+)?")


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--arch", nargs="+", default=["arm64", "armhf"])
    parser.add_argument("--only", choices=("figures", "tests"))
    parser.add_argument("--json", type=Path)
    args = parser.parse_args()
    began_s = time.monotonic()

    def say(text: str) -> None:
        print(f"[{time.monotonic() - began_s:5.0f} s] {text}", flush=True)

    machines: dict[str, Any] = {}
    with tempfile.TemporaryDirectory(prefix="lungwort-machines-") as temporary:
        work = Path(temporary)
        _put_source(work / "source")
        shutil.copy(Path(__file__).with_name("day.py"), work / "day.py")
        for architecture in (*(() if args.only == "tests" else ("amd64",)), *args.arch):
            root = root_of(architecture, cache_directory())
            say(f"{architecture}: the root is there")
            run(["mount", "--bind", str(work), str(root / "srv")])
            run(["mount", "--bind", "/dev", str(root / "dev")])
            run(["mount", "-t", "proc", "proc", str(root / "proc")])
            try:
                machines[architecture] = _tried(root, architecture, work, say, args.only)
            finally:
                for directory in ("proc", "dev", "srv"):
                    run(["umount", str(root / directory)])
    wrong = [
        f"{name}: {what}" for name, machine in machines.items() for what in _complaints(machine)
    ]
    if args.json is not None:
        figures = {
            "suite": SUITE,
            "tolerance": TOLERANCE,
            "machines": machines,
            "took_s": round(time.monotonic() - began_s),
            "run_on": dt.datetime.now(dt.UTC).date().isoformat(),
        }
        args.json.write_text(json.dumps(figures, indent=1) + "\n", "utf-8")
    for complaint in wrong:
        print(f"other machines: FAILED: {complaint}", file=sys.stderr)
    print("other machines: " + ("FAILED" if wrong else "passed"))
    return 1 if wrong else 0


def _put_source(target: Path) -> None:
    listed = subprocess.run(["git", "ls-files", "-z"], cwd=ROOT, capture_output=True, check=True)
    for name in listed.stdout.decode().split("\0"):
        if name and (ROOT / name).is_file():
            (target / name).parent.mkdir(parents=True, exist_ok=True)
            shutil.copy(ROOT / name, target / name)


def _tried(root: Path, architecture: str, work: Path, say: Any, only: str | None) -> dict[str, Any]:
    """One machine: its day beside amd64's, and the core's tests."""
    version = "python3 -c 'import platform; print(platform.python_version())'"
    _, python = inside(root, architecture, version, 600.0)
    figures = {} if only == "tests" else _figures(root, architecture, work, say)
    tests = {} if only == "figures" else _tests(root, architecture, say)
    return {"python": python.strip(), **tests, **figures}


def _figures(root: Path, architecture: str, work: Path, say: Any) -> dict[str, Any]:
    began_s = time.monotonic()
    status, said = inside(
        root, architecture, f"python3 /srv/day.py /srv/out-{architecture}", _LONGEST_S
    )
    if status:
        raise StepError(f"{architecture}: {said}")
    day_s = time.monotonic() - began_s
    compared = {
        path.name: compare(path.read_text("utf-8"), (work / "out-amd64" / path.name).read_text())
        for path in sorted((work / f"out-{architecture}").iterdir())
    }
    say(f"{architecture}: figures made in {day_s:.0f} s: {compared}")
    return {"figures": compared}


def _tests(root: Path, architecture: str, say: Any) -> dict[str, Any]:
    _, said = inside(
        root,
        architecture,
        f"cd /srv/source && python3 -m pytest -o addopts= -p no:cacheprovider -q --timeout=0 "
        f"--hypothesis-profile=few {_LEFT_OUT} {CORE}",
        _LONGEST_S,
    )
    counted = {word: int(n) for n, word in re.findall(r"(\d+) (passed|failed|skipped|error)", said)}
    failed = re.findall(r"^(?:FAILED|ERROR) (\S+)", said, re.MULTILINE)
    say(f"{architecture}: the core's tests: {counted or said[-2000:]} {failed}")
    return {"tests": counted, "failed": failed}


def compare(text: str, reference: str) -> dict[str, Any]:
    """How far two texts are apart: by bytes, and by the numbers in them.

    Returns
    -------
    dict
        ``same`` bytes or not; of those that aren't, how many ``numbers`` there are, how many
        differ, and by how much at most, relative to the larger and, below one, to one. No numbers
        where the words between them differ.
    """
    if text == reference:
        return {"same": True}
    if _NUMBER.sub("#", text) != _NUMBER.sub("#", reference):
        return {"same": False}
    pairs = [
        (float(a), float(b))
        for a, b in zip(_NUMBER.findall(text), _NUMBER.findall(reference), strict=True)
    ]
    apart = [abs(a - b) / max(abs(a), abs(b), 1.0) for a, b in pairs if a != b]
    return {
        "same": False,
        "numbers": len(pairs),
        "differ": len(apart),
        "most": max(apart, default=math.inf),
    }


def _complaints(machine: dict[str, Any]) -> list[str]:
    found = [f"{name} fails" for name in machine.get("failed", ())]
    if "tests" in machine and not machine["tests"].get("passed"):
        found.append("no test passed")
    for name, figures in machine.get("figures", {}).items():
        if not figures["same"] and not figures.get("most", math.inf) <= TOLERANCE:
            found.append(f"{name} is not that of amd64: {figures}")
    return found


if __name__ == "__main__":
    sys.exit(main())
