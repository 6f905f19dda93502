"""The tents that other tests live through are these tests' as well."""

import sys
from pathlib import Path

sys.path.insert(0, str(Path(__file__).parent.parent / "expectation"))
