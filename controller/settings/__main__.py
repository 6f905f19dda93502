"""`python -m controller.settings FILE [NAME]`: loads a config and prints it in SI, as JSON.

The other half of `controller.settings.child`: exit status 0 with the settings, 2 with the problems.
"""

from __future__ import annotations

import sys
from pathlib import Path

from controller.settings.child import ADDRESS_SPACE_BYTES, answer


def main(arguments: list[str]) -> int:
    """Run; a hostile file meets the limit, not the machine."""
    if not 1 <= len(arguments) <= 2:
        print("usage: python -m controller.settings FILE [NAME]", file=sys.stderr)
        return 2
    _limit_memory()
    text = answer(Path(arguments[0]), arguments[-1])
    print(text)
    return 2 if text.startswith('{"problems"') else 0


def _limit_memory() -> None:
    import resource

    _, hard = resource.getrlimit(resource.RLIMIT_AS)
    limit = (
        ADDRESS_SPACE_BYTES if hard == resource.RLIM_INFINITY else min(ADDRESS_SPACE_BYTES, hard)
    )
    resource.setrlimit(resource.RLIMIT_AS, (limit, hard))


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
