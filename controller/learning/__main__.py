"""`python -m controller.learning RECORD [--change]`: a process of its own, for the daemon.

Prints one line of JSON: what was learned of the tent, or why nothing could be; with `--change` what
changed within the last hours, if anything did.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from controller.record.reader import RecordReader

# Address space, not memory: what it really uses is a tenth of it.
_ADDRESS_SPACE_BYTES = 512 * 1024 * 1024


def main(record: Path, *, change: bool = False) -> int:
    """Learn from a record under its own newest config, or look for a change."""
    import os

    from controller.errors import UserError
    from controller.record import RecordReader

    os.nice(19)  # whatever else the machine has to do comes first
    _limit_memory()
    try:
        with RecordReader(record) as reader:
            answer = _changed(reader) if change else _learned(reader)
    except UserError as error:
        answer = {"refused": error.message}
    print(json.dumps(answer))
    return 0


def _learned(reader: RecordReader) -> dict[str, object]:
    from controller.learning.learn import UnlikelySensorsError
    from controller.learning.source import learn_from_record

    try:
        return {"learned": learn_from_record(reader).as_json()}
    except UnlikelySensorsError as error:
        return {"refused": error.message, "suspected": error.learned.as_json()}


def _changed(reader: RecordReader) -> dict[str, object]:
    from controller.learning.source import change_in_record

    change = change_in_record(reader)
    if change == "unknown":
        return {"refused": "the newest hours are not lit throughout"}
    return {"change": None if change is None else change.as_json()}


def _limit_memory() -> None:
    import resource

    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    limit = _ADDRESS_SPACE_BYTES
    if hard != resource.RLIM_INFINITY:
        limit = min(limit, hard)
    resource.setrlimit(resource.RLIMIT_AS, (limit, hard))


if __name__ == "__main__":
    raise SystemExit(main(Path(sys.argv[1]), change="--change" in sys.argv[2:]))
