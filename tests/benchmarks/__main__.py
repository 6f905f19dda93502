"""Every benchmark in one command; figures are printed, none is asserted.

python tests/benchmarks [--quick]
"""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

HERE = Path(__file__).parent


def main() -> int:
    """Run the timed calls, then the commands that measure a whole process."""
    quick = "--quick" in sys.argv[1:]
    pytest = [sys.executable, "-m", "pytest", str(HERE), "-n", "0", "-s"]
    columns = "--benchmark-columns=min,median,mean,rounds"
    status = subprocess.run([*pytest, columns], check=False, cwd=HERE.parents[1]).returncode
    seconds = "10" if quick else "60"
    footprint = [sys.executable, str(HERE / "footprint.py"), "--seconds", seconds]
    return status or subprocess.run(footprint, check=False).returncode


if __name__ == "__main__":
    sys.exit(main())
