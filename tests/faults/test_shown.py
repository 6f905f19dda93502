"""The table of what was shown is the one that the results make."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

from policy import PAGE, rows

BENCHES = Path(__file__).parents[1] / "benches"


def test_the_table_matches_the_results() -> None:
    script = (
        f"import sys; sys.path.insert(0, {str(BENCHES)!r}); import table; "
        "print(table.text(), end='')"
    )
    made = subprocess.run(
        [sys.executable, "-c", script], capture_output=True, text=True, check=True, encoding="utf-8"
    ).stdout
    page = PAGE.read_text(encoding="utf-8")
    shown = page.split("<!-- figures -->\n")[1].split("<!-- end of figures -->")[0]
    assert shown == made, "run tests/benches/table.py"
    assert "not run yet" not in shown


def test_the_faults_tried_are_those_of_the_policy() -> None:
    import json

    tried = json.loads((BENCHES / "results" / "faults.json").read_text(encoding="utf-8"))["faults"]
    assert [fault["fault"] for fault in tried] == [row.fault for row in rows()]
    assert [fault["within_s"] for fault in tried] == [row.within_s for row in rows()]
    assert all(fault["held"] for fault in tried)
