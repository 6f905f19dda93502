"""Run inside each machine: figures of the planning tools, and one simulated day of the daemon.

python3 day.py DIRECTORY    writes one text file for each, at full precision
"""

from __future__ import annotations

import json
import sqlite3
import subprocess
import sys
from pathlib import Path

CHILLIES = "/srv/source/config/chillies.yaml"
BASIL = "/srv/source/config/basil.yaml"
COMMANDS = {
    "size-chillies": ("size", CHILLIES, "--json"),
    "size-basil": ("size", BASIL, "--json"),
    "check-chillies": ("check", CHILLIES, "--date", "2013-07-18", "--json"),
    "rehearse-basil": ("rehearse", BASIL, "--from", "2013-07-18", "--days", "1", "--json"),
}


def main() -> int:
    """Write the files."""
    out = Path(sys.argv[1])
    out.mkdir(parents=True, exist_ok=True)
    for name, words in COMMANDS.items():
        done = lungwort(*words)
        text = json.dumps(json.loads(done), indent=0, sort_keys=True, ensure_ascii=False)
        (out / name).write_text(text + "\n", "utf-8")
    # The same daemon as on a Pi, tick by tick, on a simulated tent with mock pins.
    record = out / "day.sqlite3"
    lungwort(
        *("run", CHILLIES, "--simulate", "--pace", "max", "--record", str(record)),
        *("--from", "2013-07-18", "--until", "2013-07-19"),
    )
    with sqlite3.connect(record) as rows:
        tables = [
            name
            for (name,) in rows.execute(
                "select name from sqlite_schema where type = 'table' order by name"
            )
        ]
        lines = [
            f"{table} {row!r}"
            for table in tables
            for row in rows.execute(f"select * from {table}")  # noqa: S608
        ]
    (out / "day").write_text("\n".join(lines) + "\n", "utf-8")
    record.unlink()
    return 0


def lungwort(*words: str) -> str:
    """Run a command that must succeed; its output."""
    done = subprocess.run(
        [sys.executable, "-m", "controller", *words],
        cwd="/srv/source",
        capture_output=True,
        text=True,
        check=False,
    )
    if done.returncode:
        sys.exit(f"lungwort {' '.join(words)} ended with {done.returncode}:\n{done.stderr[-2000:]}")
    return done.stdout


if __name__ == "__main__":
    sys.exit(main())
