"""Run inside each machine: figures of the planning tools, a rehearsed day, a day tick by tick.

python3 day.py DIRECTORY    writes one text file for each, at full precision
"""

from __future__ import annotations

import contextlib
import json
import sqlite3
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

CHILLIES = "/srv/source/config/chillies.yaml"
BASIL = "/srv/source/config/basil.yaml"
COMMANDS = {
    "size-chillies": ("size", CHILLIES, "--json"),
    "size-basil": ("size", BASIL, "--json"),
    "check-chillies": ("check", CHILLIES, "--date", "2013-07-18", "--json"),
    "day-chillies": ("rehearse", CHILLIES, "--from", "2013-07-18", "--days", "1", "--json"),
    "day-basil": ("rehearse", BASIL, "--from", "2013-07-18", "--days", "1", "--json"),
}
# How long the machine took for it.
_NO_FIGURES = {"wall_s"}


def main() -> int:
    """Write the files."""
    out = Path(sys.argv[1])
    out.mkdir(parents=True, exist_ok=True)
    for name, words in COMMANDS.items():
        figures = json.loads(lungwort(*words))
        for key in _NO_FIGURES:
            figures.pop(key, None)
        text = json.dumps(figures, indent=0, sort_keys=True, ensure_ascii=False)
        (out / name).write_text(text + "\n", "utf-8")
    # The same daemon as on a Pi, on a simulated tent with mock pins.
    with tempfile.TemporaryDirectory() as temporary:
        record = Path(temporary, "record.sqlite3")
        lungwort(
            *("run", CHILLIES, "--simulate", "--pace", "max", "--record", str(record)),
            *("--from", "2013-07-18", "--until", "2013-07-19"),
        )
        with contextlib.closing(sqlite3.connect(record)) as rows:
            text = "\n".join(_rows(rows))
    (out / "ticks").write_text(text + "\n", "utf-8")
    return 0


def _rows(record: sqlite3.Connection) -> Iterator[str]:
    tables = record.execute(
        "select name from sqlite_schema where type = 'table' order by name"
    ).fetchall()
    for (table,) in tables:
        for row in record.execute(f"select * from {table}"):
            yield f"{table} {row!r}"


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
