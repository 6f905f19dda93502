"""For every test: hypothesis judges outcomes, not how long a busy machine takes for them.

The same commit gives the same verdict: examples are drawn by the test's own name, so that a hundred
in every run prove little more than forty. Look for new ones with `--hypothesis-profile=searching`,
ten times as many; one that fails joins its test as an `@example`.
"""

import signal

from examples import QUICK, SEARCHING
from hypothesis import Phase, settings

settings.register_profile("outcomes", deadline=None, derandomize=True, max_examples=QUICK)
settings.register_profile("searching", deadline=None, max_examples=SEARCHING)
# For a run that only asks whether anything fails at all, hundreds of times: no search for the
# smallest example. Chosen by `--hypothesis-profile=few`.
settings.register_profile(
    "few", deadline=None, max_examples=25, phases=[Phase.explicit, Phase.generate], database=None
)
settings.load_profile("outcomes")


def pytest_configure() -> None:
    """Hear Ctrl-C: what a shell runs in the background ignores it, and so do its children."""
    if signal.getsignal(signal.SIGINT) is signal.SIG_IGN:
        signal.signal(signal.SIGINT, signal.default_int_handler)
