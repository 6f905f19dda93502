"""`python -m controller.daemon.learning_child RECORD [--change]`: a process of its own.

Prints one line of JSON: what was learned of the tent, or why nothing could be, and what tomorrow
will be in it; with `--change` what changed within the last hours, if anything did.
"""

from __future__ import annotations

import json
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Any

from controller.child_process import limit_address_space

if TYPE_CHECKING:
    from controller.record.reader import RecordReader

# Address space, not memory: what it really uses is a tenth of it.
_ADDRESS_SPACE_BYTES = 512 * 1024 * 1024


def main(record: Path, *, change: bool = False) -> int:
    """Learn and foresee from a record under its own newest config, or look for a change."""
    import os

    from controller.errors import UserError
    from controller.record import RecordReader

    os.nice(19)  # whatever else the machine has to do comes first
    limit_address_space(_ADDRESS_SPACE_BYTES)
    try:
        with RecordReader(record) as reader:
            answer = _changed(reader) if change else _night(reader)
    except UserError as error:
        answer = {"refused": error.message}
    print(json.dumps(answer))
    return 0


def _night(reader: RecordReader) -> dict[str, Any]:
    """What is learned, and tomorrow in the tent as just learned, or as it was last."""
    from controller.errors import UserError
    from controller.learning.learn import UnlikelySensorsError
    from controller.learning.source import learn_from_record
    from controller.stored_tomorrow import KEY
    from controller.tomorrow.from_record import tomorrow_in_record

    learned, answer = None, dict[str, Any]()
    try:
        learned = learn_from_record(reader)
        answer["learned"] = learned.as_json()
    except UserError as error:
        answer["refused"] = error.message
        if isinstance(error, UnlikelySensorsError):
            answer["suspected"] = error.learned.as_json()
    try:
        answer[KEY] = tomorrow_in_record(reader, learned)
    except UserError as error:
        answer[KEY] = {"refused": error.message}
    except Exception as error:  # what was learned is worth more, and alarms rest on it
        answer[KEY] = {"refused": f"it failed: {error!r}"}
    return answer


def _changed(reader: RecordReader) -> dict[str, object]:
    from controller.learning.source import change_in_record

    change = change_in_record(reader)
    if change == "unknown":
        return {"refused": "the newest hours are not lit throughout"}
    return {"change": None if change is None else change.as_json()}


if __name__ == "__main__":
    raise SystemExit(main(Path(sys.argv[1]), change="--change" in sys.argv[2:]))
