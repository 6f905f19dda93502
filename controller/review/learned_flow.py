"""What the fan moved by the nights' learnings, over the weeks up to the end of a period."""

from __future__ import annotations

from typing import NamedTuple

from controller.learning.learned import learned_from_json
from controller.learning.stored import alike_configs
from controller.review.source import RecordSource

_FOUR_WEEKS_MS = 28 * 86_400_000


class LearnedFlow(NamedTuple):
    """What a night's learning found the fan to move.

    Attributes
    ----------
    at_ms : int
        When it was learned [Unix ms]; it rests on the days before.
    share, low, high : float
        Flow at full speed over that of the config's fan, duct and filter, and its 90 % interval.
    usual : float or None
        That of the reference week, where the night found a fall below it.
    """

    at_ms: int
    share: float
    low: float
    high: float
    usual: float | None = None


def find_learned_flows(source: RecordSource) -> list[LearnedFlow]:
    """The learnings of the period and of four weeks before, in order of time.

    Shares of another fan, duct or filter are no comparison: learned under configs that describe
    the same tent as the present one. Nights whose readings did not tell the flow are left out, and
    of a single one there is nothing to compare.
    """
    from_ms, until_ms = source.period.start_ms - _FOUR_WEEKS_MS, source.period.end_ms
    rows = [
        row
        for row in source.reader.learnings()
        if from_ms < row.at_ms <= until_ms and "learned" in row.result
    ]
    if len(rows) < 2:
        return []
    among = {row.config_id for row in rows if row.config_id is not None}
    alike = alike_configs(source.reader, source.terms.present.settings, among)
    flows = []
    for row in rows:
        learned = learned_from_json(row.result["learned"]) if row.config_id in alike else None
        flow = None if learned is None else learned.parameters.get("flow_share")
        if learned is not None and flow is not None and flow.is_learned:
            usual = None if learned.fall is None else learned.fall.usual
            flows.append(LearnedFlow(row.at_ms, flow.value, flow.low, flow.high, usual))
    return sorted(flows, key=lambda flow: flow.at_ms) if len(flows) > 1 else []
