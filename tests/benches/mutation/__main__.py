"""Does a behaviour test notice if the decision, the timetable or the plausibility is broken?

    python tests/benches/mutation [--short] [--only NAME] [--processes N]

Every module below is changed in one place at a time (`mutants.py`), and the tests of behaviour
beside it are run until the first fails. What survives is listed with its line; those that are
known to change nothing, or nothing that matters, are in `survivors.toml` with the reason. The
whole takes half an hour on two cores and keeps `tests/benches/results/mutation.json`; `--short`
tries every 40th mutant, keeps nothing, and fails where one survives that is not accounted for.
"""

from __future__ import annotations

import argparse
import importlib.abc
import importlib.machinery
import importlib.util
import io
import json
import os
import signal
import sys
import time
import tomllib
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from types import ModuleType
from typing import NamedTuple

import hypothesis
import pytest
import yaml

sys.path.insert(0, str(Path(__file__).parent))
from mutants import Mutant, mutants

_HERE = Path(__file__).parent
_ROOT = _HERE.parents[2]
_RESULT = _HERE.parent / "results" / "mutation.json"
_DECISION = (
    "tests/control/test_decide_rules.py",
    "tests/control/test_actuate.py",
    "tests/control/test_rules_from_settings.py",
    "tests/control/test_decide_properties.py",
)
# The module, and its tests, the quick ones first.
_TARGETS: dict[str, tuple[str, ...]] = {
    "controller/control/actuator.py": ("tests/control/test_actuate.py", *_DECISION),
    "controller/control/decide.py": _DECISION,
    "controller/control/memory.py": _DECISION,
    "controller/control/reasons.py": _DECISION,
    "controller/control/thresholds.py": ("tests/control/test_rules_from_settings.py",),
    "controller/control/transitions.py": _DECISION,
    "controller/control/override_state.py": _DECISION,
    "controller/timetable.py": (
        "tests/timetable/test_timetable.py",
        "tests/timetable/test_timetable_minutes.py",
    ),
    "controller/control/plausibility.py": (
        "tests/readings/test_plausibility.py",
        "tests/readings/test_combination.py",
    ),
}
_LONGEST_S = 180
_SHORT_EVERY = 40


class Verdict(NamedTuple):
    """What became of one mutant: "killed", "survived" or "endless"."""

    target: str
    mutant: Mutant
    fate: str


class _MutantLoader(importlib.abc.MetaPathFinder, importlib.abc.Loader):
    """Serves one module from changed source."""

    def __init__(self, name: str, path: str, source: str) -> None:
        self._name, self._path, self._source = name, path, source

    def find_spec(self, fullname: str, path: object = None, target: object = None):  # type: ignore[no-untyped-def]
        if fullname != self._name:
            return None
        return importlib.util.spec_from_loader(fullname, self, origin=self._path)

    def exec_module(self, module: ModuleType) -> None:
        exec(compile(self._source, self._path, "exec"), module.__dict__)


def _start(target: str, mutant: Mutant) -> int:
    """Run the tests in a forked process with the mutant in place; gives its number."""
    child = os.fork()
    if child == 0:
        status = 1
        try:
            signal.alarm(_LONGEST_S)
            name = target.removesuffix(".py").replace("/", ".")
            sys.meta_path.insert(0, _MutantLoader(name, target, mutant.source))
            tests = [path for path in dict.fromkeys(_TARGETS[target]) if Path(path).exists()]
            options = ["-x", "-q", "-n0", "-p", "no:cacheprovider", "--hypothesis-seed=0"]
            with redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
                status = int(pytest.main([*options, *tests]) != 0)
        finally:
            os._exit(status)
    return child


def _fate(status: int) -> str:
    if os.WIFSIGNALED(status):
        return "endless"
    return "killed" if os.WEXITSTATUS(status) else "survived"


def _run(work: list[tuple[str, Mutant]], processes: int) -> list[Verdict]:
    began_s = time.monotonic()
    running: dict[int, int] = {}
    fates: dict[int, str] = {}
    while len(fates) < len(work):
        started = len(fates) + len(running)
        if started < len(work) and len(running) < processes:
            running[_start(*work[started])] = started
            continue
        child, status = os.wait()
        index = running.pop(child)
        fates[index] = _fate(status)
        target, mutant = work[index]
        if fates[index] == "survived":
            print(f"survived: {target}:{mutant.line}: {mutant.what}", flush=True)
        if len(fates) % 50 == 0:
            left_s = (time.monotonic() - began_s) / len(fates) * (len(work) - len(fates))
            print(f"{len(fates)} of {len(work)}, {left_s / 60:.0f} min left", flush=True)
    return [Verdict(*job, fates[index]) for index, job in enumerate(work)]


def _known_survivors() -> dict[tuple[str, str], tuple[str, bool]]:
    """By (module, change): why it survives, and whether it changes any behaviour at all."""
    entries = tomllib.loads((_HERE / "survivors.toml").read_text("utf-8"))["survivor"]
    return {
        (entry["module"], entry["change"]): (entry["why"], entry["equivalent"]) for entry in entries
    }


def main() -> int:
    """Try the mutants and report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--only", default="")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args()
    os.chdir(_ROOT)
    print(f"with hypothesis {hypothesis.__version__}, pyyaml {yaml.__version__}")
    known = _known_survivors()
    work = [
        (target, mutant)
        for target in _TARGETS
        if options.only in target
        for mutant in mutants(Path(target))
    ]
    if options.short:
        work = work[::_SHORT_EVERY]
    verdicts = _run(work, options.processes)
    counts: dict[str, dict[str, int]] = {}
    unknown = 0
    survivors = []
    for target, mutant, fate in verdicts:
        row = counts.setdefault(target, {"mutants": 0, "killed": 0, "equivalent": 0, "survived": 0})
        row["mutants"] += 1
        if fate != "survived":
            row["killed"] += 1
            continue
        why, equivalent = known.get((target, mutant.what), ("", False))
        row["equivalent" if equivalent else "survived"] += 1
        unknown += not why
        survivors.append({"module": target, "change": mutant.what, "why": why})
    total = {key: sum(row[key] for row in counts.values()) for key in next(iter(counts.values()))}
    judged = total["mutants"] - total["equivalent"]
    score = 100.0 * total["killed"] / judged
    print(f"{total['killed']} of {judged} mutants that change something killed: {score:.1f} %")
    print(f"{unknown} survivors not accounted for in survivors.toml")
    if not options.short and not options.only:
        report = {"score_pct": round(score, 2), "modules": counts, "survivors": survivors}
        _RESULT.write_text(json.dumps(report, indent=1, ensure_ascii=False) + "\n", "utf-8")
    return int(score < 95.0 or (options.short and unknown > 0))


if __name__ == "__main__":
    sys.exit(main())
