"""`python -m controller.config FILE [NAME]`: the other half of `controller.config.child`."""

from __future__ import annotations

import sys
from pathlib import Path

from controller.child_process import limit_address_space
from controller.config.child import ADDRESS_SPACE_BYTES, answer


def main(arguments: list[str]) -> int:
    """Run; a hostile file meets the limit, not the machine."""
    if not 1 <= len(arguments) <= 2:
        print("usage: python -m controller.config FILE [NAME]", file=sys.stderr)
        return 2
    limit_address_space(ADDRESS_SPACE_BYTES)
    print(answer(Path(arguments[0]), arguments[-1]))
    return 0


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
