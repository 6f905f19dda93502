"""The record as a review queries it: one snapshot, with the bands joined to every reading."""

from __future__ import annotations

import json
from collections.abc import Iterable, Iterator, Mapping
from pathlib import Path
from types import TracebackType
from typing import TYPE_CHECKING, Any

from controller.review.config_terms import (
    Bands,
    Terms,
    TermsOfRecord,
    lamp_rises_k,
    terms_of_record,
)
from controller.review.period import Period

if TYPE_CHECKING:
    from controller.config import Loaded
    from controller.record import RecordReader

Row = tuple[Any, ...]

# Whether the lamp counts as lit in an interval: for most of it.
LIT = "(r.lamp_on_s * 2.0 >= r.interval_s)"

_TERMS_TABLE = """
CREATE TEMP TABLE terms (
    id INTEGER PRIMARY KEY,          -- config id * 2 + lit
    t_low REAL, t_high REAL, h_low REAL, h_high REAL, v_low REAL, v_high REAL,
    warn_c REAL, fan_w REAL, lamp_w REAL, open_w REAL, shut_w REAL, sure_k REAL, rise_k REAL,
    low_ppm REAL
)
"""
# When less air passed than the fan should move: from and until [Unix ms].
_LESS_AIR_TABLE = "CREATE TEMP TABLE less_air (a REAL, b REAL)"
# When the overrides of one rule were engaged, one row after the other, and whether outside air
# could help: from and until [Unix ms].
_ENGAGED_TABLE = "CREATE TEMP TABLE engaged (a INTEGER PRIMARY KEY, b REAL, helps INTEGER)"
_HOURS_TABLE = "CREATE TEMP TABLE spans (id INTEGER PRIMARY KEY, a INTEGER, b INTEGER)"


class RecordSource:
    """An open record and the period under review.

    Use as a context: everything inside is one read transaction, so that a daemon that goes on
    writing changes nothing half-way through.

    Parameters
    ----------
    reader : RecordReader
        The record; closed with the source.
    period : Period
        What is asked for.
    loaded : Loaded
        The present config.

    Attributes
    ----------
    has_turns : bool
        Whether a tachometer counted the fan's turns anywhere in the period.
    """

    def __init__(self, reader: RecordReader, period: Period, loaded: Loaded) -> None:
        self.reader = reader
        self.period = period
        self._loaded = loaded
        self._snapshot = reader.snapshot()
        self.longest_ms = 0
        self.beyond_ms = 0
        self.has_turns = False

    def __enter__(self) -> RecordSource:
        self._snapshot.__enter__()
        start, end = self.period.start_ms, self.period.end_ms
        longest = self.value(
            # One that no daemon could have recorded is refused below.
            "SELECT min(max(interval_s), 86400.0) FROM readings WHERE at_ms > ? AND at_ms < ?",
            start,
            # An interval that ends after the period may have begun in it; none is over a day.
            end + 86_400_000,
        )
        self.longest_ms = round(1000.0 * (longest or 0.0))
        span = self.reader.span()
        # No reading from here on is looked at: the first that cannot reach back into the period,
        # or what a live daemon adds after this moment.
        self.beyond_ms = min(end + self.longest_ms, span[1] + 1 if span else end)
        self.reader.hold_sound(start, self.beyond_ms)
        query = (
            "SELECT DISTINCT config_id, fan_rpm IS NOT NULL FROM readings "
            "WHERE at_ms > ? AND at_ms < ?"
        )
        used = list(self.rows(query, start, self.beyond_ms))
        self.has_turns = any(has_turns for _, has_turns in used)
        self.terms: TermsOfRecord = terms_of_record(
            {config_id for config_id, _ in used},
            self.reader.configs(),
            self._loaded.settings,
            self._loaded.sha256,
        )
        self._fill_terms()
        return self

    def close(self) -> None:
        """End the transaction and let go of the record."""
        self._snapshot.__exit__()
        self.reader.close()

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()

    def sibling(self) -> RecordSource:
        """A second look at the same readings, for another thread; entered already."""
        other = RecordSource(type(self.reader)(self.path), self.period, self._loaded)
        other._snapshot.__enter__()
        other.longest_ms, other.beyond_ms = self.longest_ms, self.beyond_ms
        other.has_turns, other.terms = self.has_turns, self.terms
        other._fill_terms()
        return other

    @property
    def path(self) -> Path:
        """The record's file."""
        return self.reader.path

    def rows(self, query: str, *parameters: object) -> Iterator[Row]:
        """The rows of a query."""
        return self.reader.sql(query, parameters)

    def value(self, query: str, *parameters: object) -> Any:
        """The only value of a query."""
        ((value,),) = self.reader.sql(query, parameters)
        return value

    def select(
        self, columns: Mapping[str, str], query: str, *parameters: object
    ) -> Iterator[dict[str, Any]]:
        """The rows of a query, by the names of its columns.

        Parameters
        ----------
        columns : mapping of str to str
            What is selected: an SQL expression by the name of its column.
        query : str
            The rest of the query, from its FROM on.
        *parameters : object
            What stands for its question marks.
        """
        for row in self.reader.sql(f"SELECT {', '.join(columns.values())} {query}", parameters):
            yield dict(zip(columns, row, strict=True))

    def run(self, statement: str, *parameters: object) -> None:
        """A statement without rows."""
        for _ in self.reader.sql(statement, parameters):
            pass

    def set_spans(self, spans: list[tuple[int, int]]) -> None:
        """Fill the table `spans` (id from 0 on, a, b) [Unix ms] that queries join with."""
        self.run("DROP TABLE IF EXISTS temp.spans")
        self.run(_HOURS_TABLE)
        self.run(
            "INSERT INTO spans SELECT key, value ->> 0, value ->> 1 FROM json_each(?)",
            json.dumps(spans),
        )

    def set_less_air(self, stretches: Iterable[tuple[float, float]]) -> None:
        """Fill the table `less_air` (a, b) [Unix ms] that causes look into."""
        self.run("DROP TABLE IF EXISTS temp.less_air")
        self.run(_LESS_AIR_TABLE)
        self.run(
            "INSERT INTO less_air SELECT value ->> 0, value ->> 1 FROM json_each(?)",
            json.dumps(list(stretches)),
        )

    def set_engaged(self, stretches: Iterable[tuple[int, float, bool]]) -> None:
        """Fill the table `engaged` (a, b, helps) [Unix ms] that causes look into."""
        self.run("DROP TABLE IF EXISTS temp.engaged")
        self.run(_ENGAGED_TABLE)
        self.run(
            "INSERT INTO engaged SELECT value ->> 0, value ->> 1, value ->> 2 FROM json_each(?)",
            json.dumps(list(stretches)),
        )

    def add_rises(self) -> None:
        """Fill in `sure_k` and `rise_k`: how far the lamp lifts the tent at full flow."""
        for config_id, terms in self.terms.by_config.items():
            rises = lamp_rises_k(terms) or (None, None)
            self.run("UPDATE terms SET sure_k = ?, rise_k = ? WHERE id / 2 = ?", *rises, config_id)

    def _fill_terms(self) -> None:
        self.run("PRAGMA temp_store = MEMORY")
        self.run("DROP TABLE IF EXISTS temp.terms")
        self.run(_TERMS_TABLE)
        for config_id, terms in self.terms.by_config.items():
            for lit in (0, 1):
                self.run(
                    f"INSERT INTO terms VALUES ({', '.join('?' * 15)})",
                    config_id * 2 + lit,
                    *_limits(terms.bands(bool(lit))),
                    *_powers(terms),
                    terms.settings.targets.low_co2_ppm if lit else 0.0,
                )


def _limits(bands: Bands) -> tuple[float, ...]:
    return (*bands.temperature_c, *bands.humidity_pct, *bands.vpd_pa)


def _powers(terms: Terms) -> tuple[float | None, ...]:
    fan_w = terms.fan_w
    return (
        terms.settings.targets.heat_warning_c,
        fan_w,
        terms.lamp_w,
        None if fan_w is None else fan_w * terms.scheduled_open,
        None if fan_w is None else fan_w * terms.scheduled_shut,
        *(None, None),  # the lamp's rises, which `add_rises` works out when they are asked for
    )
