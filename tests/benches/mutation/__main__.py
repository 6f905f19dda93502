"""Does a behaviour test notice if the decision, the timetable or the plausibility is broken?

    python tests/benches/mutation [--short] [--only NAME] [--lines N,N] [--processes N]

Every module below is changed in one place at a time (`mutants.py`), and the tests of behaviour
beside it are run until the first fails, the property tests with few examples. What survives is
listed with its line; those that are known to change nothing, or nothing that matters, are in
`survivors.toml` with the reason. A run keeps `tests/benches/results/mutation.json`; with `--only`
it keeps the rows of the modules whose path contains NAME. `--short` tries every 40th mutant, keeps
nothing, and fails where one survives that is not accounted for. `--lines` tries only the mutants
of these lines (of one module, with `--only`) and keeps nothing.
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
from importlib.metadata import version
from pathlib import Path
from types import ModuleType
from typing import Any, NamedTuple

import pytest

sys.path.insert(0, str(Path(__file__).parent))
from mutants import Mutant, mutants

_HERE = Path(__file__).parent
_ROOT = _HERE.parents[2]
_RESULT = _HERE.parent / "results" / "mutation.json"
_DECISION = (
    "tests/control/test_decide_edges.py",
    "tests/control/test_wished.py",
    "tests/control/test_reasons.py",
    "tests/control/test_memory.py",
    "tests/control/test_decide_rules.py",
    "tests/control/test_actuate.py",
    "tests/control/test_rules_from_settings.py",
    "tests/control/test_decide_properties.py",
    "tests/control/test_modulation.py",
    "tests/control/test_quiet.py",
    "tests/control/test_most_starts.py",
    "tests/control/test_too_stale.py",
    "tests/control/test_dark_duty.py",
)
# The module, and its tests, the quick ones first.
_TARGETS: dict[str, tuple[str, ...]] = {
    "controller/control/actuator.py": ("tests/control/test_actuate.py", *_DECISION),
    "controller/control/decide.py": ("tests/control/test_decide_rules.py", *_DECISION),
    "controller/control/lamp_interlock.py": ("tests/control/test_decide_edges.py", *_DECISION),
    "controller/control/memory.py": ("tests/control/test_memory.py", *_DECISION),
    "controller/control/quiet.py": ("tests/control/test_quiet.py", *_DECISION),
    "controller/control/reasons.py": ("tests/control/test_reasons.py", *_DECISION),
    "controller/control/thresholds.py": (
        "tests/control/test_rules_from_settings.py",
        *_DECISION,
    ),
    "controller/control/transitions.py": ("tests/control/test_transitions.py", *_DECISION),
    "controller/control/override_state.py": ("tests/control/test_override_state.py", *_DECISION),
    "controller/control/wish.py": ("tests/control/test_wished.py", *_DECISION),
    "controller/local_time.py": (
        "tests/timetable/test_timetable.py",
        "tests/timetable/test_timetable_minutes.py",
    ),
    "controller/timetable.py": (
        "tests/timetable/test_timetable.py",
        "tests/timetable/test_timetable_minutes.py",
    ),
    "controller/control/plausibility.py": (
        "tests/readings/test_plausibility.py",
        "tests/readings/test_combination.py",
    ),
}
# Of processor time; the slowest tests of a module that nothing is wrong with take half of it.
_LONGEST_CPU_S = 60
_SHORT_EVERY = 40
_OPTIONS = (
    "-x",
    "-q",
    "-n0",
    "--tb=no",
    "--hypothesis-seed=0",
    "--hypothesis-profile=few",
    *("-p", "no:cacheprovider"),
    *("-W", "ignore::pytest.PytestAssertRewriteWarning"),
)


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


def _warm_up() -> None:
    """Import all that the tests use, then forget what is ours: each process starts from there."""
    with redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
        tests = {path for paths in _TARGETS.values() for path in paths if Path(path).exists()}
        pytest.main([*_OPTIONS, "--collect-only", *sorted(tests)])
    for name, module in list(sys.modules.items()):
        file = getattr(module, "__file__", None)
        if (
            name != "mutants"
            and file
            and Path(file).is_relative_to(_ROOT)
            and "/.venv/" not in file
        ):
            del sys.modules[name]


def _start(target: str, mutant: Mutant) -> int:
    """Run the tests in a forked process with the mutant in place; gives its number."""
    child = os.fork()
    if child == 0:
        status = 1
        try:
            signal.setitimer(signal.ITIMER_PROF, _LONGEST_CPU_S)
            name = target.removesuffix(".py").replace("/", ".")
            sys.meta_path.insert(0, _MutantLoader(name, target, mutant.source))
            tests = [path for path in dict.fromkeys(_TARGETS[target]) if Path(path).exists()]
            with redirect_stdout(io.StringIO()), redirect_stderr(io.StringIO()):
                # Most are killed by the first file, without reading the others.
                status = int(
                    pytest.main([*_OPTIONS, tests[0]]) != 0
                    or (len(tests) > 1 and pytest.main([*_OPTIONS, *tests[1:]]) != 0)
                )
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
        if fates[index] == "survived" and mutant.line:
            print(f"survived: {target}:{mutant.line}: {mutant.what}", flush=True)
        if len(fates) % 50 == 0:
            left_s = (time.monotonic() - began_s) / len(fates) * (len(work) - len(fates))
            print(f"{len(fates)} of {len(work)}, {left_s / 60:.0f} min left", flush=True)
    return [Verdict(*job, fates[index]) for index, job in enumerate(work)]


def _known_survivors() -> dict[tuple[str, str], tuple[str, bool]]:
    """By (module, change): why it survives, and whether it changes any behaviour at all."""
    entries = tomllib.loads((_HERE / "survivors.toml").read_text("utf-8")).get("survivor", [])
    return {
        (entry["module"], entry["change"]): (entry["why"], entry["equivalent"]) for entry in entries
    }


def _row(verdicts: list[Verdict], known: dict[tuple[str, str], tuple[str, bool]]) -> dict[str, Any]:
    """One module's part of the report."""
    row: dict[str, Any] = {"mutants": len(verdicts), "killed": 0, "equivalent": 0, "survived": 0}
    row["survivors"] = []
    for target, mutant, fate in verdicts:
        if fate != "survived":
            row["killed"] += 1
            continue
        why, equivalent = known.get((target, mutant.what), ("", False))
        row["equivalent" if equivalent else "survived"] += 1
        row["survivors"].append({"line": mutant.line, "change": mutant.what, "why": why})
    return row


def _report(modules: dict[str, dict[str, Any]]) -> dict[str, Any]:
    """The modules under their totals."""
    keys = ("mutants", "killed", "equivalent", "survived")
    total = {key: sum(row[key] for row in modules.values()) for key in keys}
    score = 100.0 * total["killed"] / max(1, total["mutants"] - total["equivalent"])
    return {"score_pct": round(score, 2), **total, "modules": modules}


def main() -> int:
    """Try the mutants and report."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true")
    parser.add_argument("--only", default="")
    parser.add_argument("--lines", default="")
    parser.add_argument("--processes", type=int, default=os.cpu_count() or 1)
    options = parser.parse_args()
    os.chdir(_ROOT)
    print(f"with hypothesis {version('hypothesis')}, pytest {pytest.__version__}")
    lines = {int(line) for line in options.lines.split(",") if line}
    work = [
        (target, mutant)
        for target in _TARGETS
        if options.only in target
        for mutant in mutants(Path(target))
        if not lines or mutant.line in lines
    ]
    if options.short:
        work = work[::_SHORT_EVERY]
    _warm_up()
    # A bench whose tests fail by themselves would count every mutant as killed.
    unchanged = [
        (target, Mutant(0, "unchanged", Path(target).read_text("utf-8")))
        for target in dict.fromkeys(target for target, _ in work)
    ]
    if options.short:
        unchanged = unchanged[:2]
    broken = [v.target for v in _run(unchanged, options.processes) if v.fate != "survived"]
    if broken:
        print(f"the tests fail with nothing changed: {', '.join(broken)}")
        return 2
    known = _known_survivors()
    by_module: dict[str, list[Verdict]] = {}
    for verdict in _run(work, options.processes):
        by_module.setdefault(verdict.target, []).append(verdict)
    modules = {target: _row(verdicts, known) for target, verdicts in by_module.items()}
    report = _report(modules)
    judged = report["mutants"] - report["equivalent"]
    print(
        f"{report['killed']} of {judged} mutants that change something killed: "
        f"{report['score_pct']:.1f} %"
    )
    unknown = sum(not entry["why"] for row in modules.values() for entry in row["survivors"])
    print(f"{unknown} survivors not accounted for in survivors.toml")
    if not options.short and not lines:
        kept = json.loads(_RESULT.read_text("utf-8"))["modules"] if _RESULT.exists() else {}
        merged = {key: row for key, row in (kept | modules).items() if key in _TARGETS}
        text = json.dumps(_report(merged), indent=1, ensure_ascii=False)
        _RESULT.write_text(text + "\n", "utf-8")
    return int(unknown > 0 if options.short else report["score_pct"] < 95.0)


if __name__ == "__main__":
    sys.exit(main())
