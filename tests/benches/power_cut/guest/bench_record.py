"""Print what a record holds and whether it is whole, as one JSON object: bench_record.py RECORD."""

import contextlib
import json
import sqlite3
import sys
from pathlib import Path

path = Path(sys.argv[1])
with contextlib.closing(sqlite3.connect(f"file:{path}?mode=ro", uri=True)) as db:
    db.execute("BEGIN")
    print(
        json.dumps(
            {
                "integrity": [row[0] for row in db.execute("PRAGMA integrity_check(5)")],
                "events": db.execute("SELECT id, at_ms, name, level, data FROM events").fetchall(),
                "readings": [r[0] for r in db.execute("SELECT at_ms FROM readings ORDER BY at_ms")],
                "set_aside": sorted(p.name for p in path.parent.glob("*.corrupt-*")),
            },
            separators=(",", ":"),
        )
    )
