"""`python -m controller.learning RECORD`: learn in a process of its own, for the daemon.

Prints one line of JSON: what was learned, or why nothing could be.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path

# Address space, not memory: what it really uses is a tenth of it.
_ADDRESS_SPACE_BYTES = 512 * 1024 * 1024


def main(record: Path) -> int:
    """Learn from a record under its own newest config."""
    import os

    from controller.errors import UserError
    from controller.learning.source import learn_from_record
    from controller.record import RecordReader

    os.nice(19)  # whatever else the machine has to do comes first
    _limit_memory()
    try:
        with RecordReader(record) as reader:
            learned = learn_from_record(reader)
    except UserError as error:
        print(json.dumps({"refused": error.message}))
        return 0
    print(json.dumps({"learned": learned.as_json()}))
    return 0


def _limit_memory() -> None:
    import resource

    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    limit = _ADDRESS_SPACE_BYTES
    if hard != resource.RLIM_INFINITY:
        limit = min(limit, hard)
    resource.setrlimit(resource.RLIMIT_AS, (limit, hard))


if __name__ == "__main__":
    raise SystemExit(main(Path(sys.argv[1])))
