"""When the fan was commanded and did not turn."""

from __future__ import annotations

from controller.review.source import RecordSource

# Slower than this a fan is not turning [1/min]; the daemon's own watch uses the same.
TURNING_RPM = 60.0
# A reading's turns are those of its end: one alone may be a fan just switched off or on.
_LEAST_MS = 3 * 60_000.0
_LOOK_BACK_MS = 7 * 86_400_000


def find_fan_stalls(source: RecordSource) -> list[tuple[float, float]]:
    """Stretches in which the fan was commanded and did not turn [Unix ms], in order of time.

    From the daemon's own watch and from the turns, cut at the period's ends; none overlap.
    """
    period = source.period
    stalls: list[tuple[float, float]] = []
    for start, end in sorted([*_from_events(source), *_from_readings(source)]):
        start_ms, end_ms = max(start, float(period.start_ms)), min(end, float(period.end_ms))
        if stalls and start_ms <= stalls[-1][1]:
            stalls[-1] = (stalls[-1][0], max(stalls[-1][1], end_ms))
        elif start_ms < end_ms:
            stalls.append((start_ms, end_ms))
    return stalls


def _from_events(source: RecordSource) -> list[tuple[float, float]]:
    period = source.period
    stalls = []
    since: float | None = None
    for event in source.reader.events(
        period.start_ms - _LOOK_BACK_MS,
        period.end_ms,
        ["fan.failed", "fan.recovered", "daemon.started"],
    ):
        if event.name == "fan.failed" and event.data.get("fault", "not_turning") == "not_turning":
            since = float(event.at_ms) if since is None else since
        elif since is not None:
            stalls.append((since, float(event.at_ms)))
            since = None
    if since is not None:
        stalls.append((since, float(source.beyond_ms)))
    return stalls


def _from_readings(source: RecordSource) -> list[tuple[float, float]]:
    stalls: list[tuple[float, float]] = []
    if not source.has_turns:
        return stalls
    for start_ms, end_ms in source.rows(
        "SELECT at_ms - interval_s * 1000.0, at_ms FROM readings "
        "WHERE at_ms > ? AND at_ms < ? AND fan_rpm < ? AND fan_on_s >= interval_s ORDER BY at_ms",
        source.period.start_ms,
        source.beyond_ms,
        TURNING_RPM,
    ):
        if stalls and start_ms <= stalls[-1][1] + 1500.0:
            stalls[-1] = (stalls[-1][0], end_ms)
        else:
            stalls.append((start_ms, end_ms))
    return [(start, end) for start, end in stalls if end - start >= _LEAST_MS]
