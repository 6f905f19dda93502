"""Fuzz every target for a fixed time; see `fuzz.sh`."""

from __future__ import annotations

import argparse
import datetime as dt
import importlib.util
import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path

HERE = Path(__file__).resolve().parent
FUZZ = HERE.parent / "fuzz"
RESULT = HERE / "results" / "fuzz.json"
TARGETS = ("config", "record", "control", "weather")
MOST_KEPT_BYTES = 2048
MOST_KEPT = 40


def main() -> int:
    """Run the bench."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="30 s for each target, no result file")
    parser.add_argument("--keep", action="store_true", help="add small inputs that reach more code")
    parser.add_argument("--seed", type=int, default=1)
    args = parser.parse_args()
    seconds = float(os.environ.get("SECONDS_EACH", "30" if args.short else "600"))
    if importlib.util.find_spec("atheris") is None:
        print(
            "fuzz: skipped: coverage-guided fuzzing, since Atheris is not installed in "
            f"{sys.executable}; the kept corpus is edited at random instead"
        )
    results = []
    with tempfile.TemporaryDirectory(prefix="lungwort-fuzz-") as folder:
        for name in TARGETS:
            here = Path(folder) / name
            here.mkdir()
            result = fuzz(name, seconds, here, args.seed)
            results.append(result)
            print(f"fuzz: {name}: {result['inputs']} inputs, {result['crashes']} crashes")
            if args.keep and not result["crashes"]:
                keep(name, here / "grown")
    crashes = sum(result["crashes"] for result in results)
    if not args.short and not crashes:
        RESULT.parent.mkdir(exist_ok=True)
        date = dt.datetime.now(dt.UTC).date().isoformat()
        RESULT.write_text(
            json.dumps({"bench": "fuzz", "date": date, "targets": results}, indent=2) + "\n",
            encoding="utf-8",
        )
    return 1 if crashes else 0


def fuzz(name: str, seconds: float, folder: Path, seed: int) -> dict[str, int]:
    """Fuzz one target in a process of its own; what raised is printed."""
    # A death by a signal says where it came from.
    python = [sys.executable, "-X", "faulthandler"]
    command = [*python, str(FUZZ / "worker.py"), name, str(seconds), str(folder), str(seed)]
    done = subprocess.run(command, stdout=subprocess.PIPE, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"fuzz: {name}: the worker ended with status {done.returncode}")
    for crash in sorted(folder.glob("crash-*")) + sorted(folder.glob("timeout-*")):
        print(f"fuzz: {name}: {crash.name}: {crash.read_bytes()[:300]!r}")
    result: dict[str, int] = json.loads(done.stdout.splitlines()[-1])
    return result


def keep(name: str, grown: Path) -> None:
    """Add what the fuzzer found worth keeping, smallest first, as far as it is small."""
    corpus = FUZZ / "corpus" / name
    room = MOST_KEPT - sum(1 for path in corpus.iterdir() if not path.name.startswith("seed-"))
    for path in sorted(grown.iterdir(), key=lambda path: path.stat().st_size):
        if room <= 0 or path.stat().st_size > MOST_KEPT_BYTES:
            break
        (corpus / f"found-{path.name[:12]}").write_bytes(path.read_bytes())
        room -= 1


if __name__ == "__main__":
    raise SystemExit(main())
