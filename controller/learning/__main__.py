"""`python -m controller.learning RECORD`: learn in a process of its own, for the daemon.

Prints one line of JSON: what was learned, or why nothing could be.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path


def main(record: Path) -> int:
    """Learn from a record under its own newest config."""
    from controller.errors import UserError
    from controller.learning.source import learn_from_record
    from controller.record import RecordReader

    try:
        with RecordReader(record) as reader:
            learned = learn_from_record(reader)
    except UserError as error:
        print(json.dumps({"refused": error.message}))
        return 0
    print(json.dumps({"learned": learned.as_json()}))
    return 0


if __name__ == "__main__":
    raise SystemExit(main(Path(sys.argv[1])))
