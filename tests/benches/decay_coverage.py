"""How often the 95 % limits of a timed air change hold the true rate; prints a table.

    python tests/benches/decay_coverage.py [--decays 1000]

For each kind of sensor so many synthetic decays (time constants of 20 to 150 s, differences of 1.5
to 6 g/kg, a tent up to 8 K warmer than the room), once with the relative humidity referring to the
air's temperature and once to the element's own.
"""

from __future__ import annotations

import argparse
import statistics
import sys
from pathlib import Path

sys.path[:0] = [str(Path(__file__).parents[2]), str(Path(__file__).parents[1] / "commissioning")]

from synthetic_decays import KINDS, timed  # noqa: E402

from controller.commissioning.decay import Decay, NoDecay  # noqa: E402

LEAST_COVERAGE = 0.90


def main() -> int:
    """Measure; 1 when any coverage is below 90 %."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--decays", type=int, default=1000)
    decays = parser.parse_args().decays
    worst = 1.0
    print("sensor  humidity of  answered  limits hold it  flow holds it  bounds right  high/low")
    for kind in KINDS:
        for own_temperature in (False, True):
            results = [timed(kind, s, own_temperature=own_temperature) for s in range(decays)]
            rates = [(r, a.humidity, a.flow_m3_s) for r, a in results]
            answers = [(r, d, f) for r, d, f in rates if isinstance(d, Decay) and f is not None]
            held = sum(d.low_per_s <= r <= d.high_per_s for r, d, _ in answers) / len(answers)
            flows = sum(f.low <= r <= f.high for r, _, f in answers) / len(answers)
            bounds = [
                d.at_least_per_s <= r
                for r, d, _ in rates
                if isinstance(d, NoDecay) and d.at_least_per_s is not None
            ]
            right = f"{sum(bounds):4d} of {len(bounds):4d}"
            width = statistics.median(d.high_per_s / d.low_per_s for _, d, _ in answers)
            print(
                f"{kind:6s}  {'element' if own_temperature else 'air':11s} "
                f"{len(answers) / decays:9.1%} {held:15.1%} {flows:14.1%}  {right} {width:9.2f}"
            )
            worst = min(worst, held)
    print(f"least coverage {worst:.1%}, wanted {LEAST_COVERAGE:.0%}")
    return int(worst < LEAST_COVERAGE)


if __name__ == "__main__":
    sys.exit(main())
