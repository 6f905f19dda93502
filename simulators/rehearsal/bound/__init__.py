"""The bound: the best that any fan could do on some days, all of their weather known in advance."""

from simulators.rehearsal.bound.frontier import Bound, BoundRun, find_bound

__all__ = ["Bound", "BoundRun", "find_bound"]
