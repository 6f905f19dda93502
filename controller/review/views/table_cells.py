"""A table that a terminal and a page can draw: columns, and rows of typed cells."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, Protocol

from controller import display
from controller.display import hours_and_minutes
from controller.review.phrases import value_words
from controller.review.report import Review
from controller.review.views.glyphs import Glyphs
from controller.tables import table_lines


class Cell(Protocol):
    """What stands in a cell."""

    def text(self, review: Review) -> str:
        """As the terminal and the page show it."""


class Text(NamedTuple):
    """A text."""

    words: str

    def text(self, _: Review) -> str:
        """The text."""
        return self.words


class Value(NamedTuple):
    """A value of a quantity in its SI unit; a dash for None."""

    quantity: str
    value: float | None

    def text(self, review: Review) -> str:
        """In the user's units."""
        return value_words(self.quantity, self.value, review.settings.units)


class Length(NamedTuple):
    """A length of time [min]; a dash for less than half a minute, unless `exact`."""

    minutes: float
    exact: bool = False

    def text(self, _: Review) -> str:
        """In hours and minutes."""
        if self.minutes < 0.5 and not self.exact:
            return "–"
        return hours_and_minutes(self.minutes)


class Moment(NamedTuple):
    """An instant [Unix ms]; nothing for None."""

    at_ms: float | None
    clock_only: bool = False

    def text(self, review: Review) -> str:
        """On the tent's clock, with its date in a period of several days."""
        if self.at_ms is None:
            return ""
        if self.clock_only:
            return f"{review.period.local(self.at_ms):%H:%M}"
        return review.period.when(self.at_ms)


class Energy(NamedTuple):
    """Energy [kWh]."""

    kwh: float | None

    def text(self, _: Review) -> str:
        """With its unit; a dash where it is not known."""
        if self.kwh is None:
            return "–"
        return display.energy(self.kwh)


class Cost(NamedTuple):
    """Money in the config's currency; nothing for None."""

    amount: float | None

    def text(self, review: Review) -> str:
        """With its currency."""
        if self.amount is None:
            return ""
        return display.money(self.amount, review.settings.energy.currency)


class Column(NamedTuple):
    """A column.

    Attributes
    ----------
    heading : str
        Its heading; the terminal's is in lower case.
    is_number : bool
        Whether it is set to the right.
    on_terminal, on_page : bool
        Where it is shown.
    joined : bool
        Whether its text is written behind that of the column before, after a comma.
    """

    heading: str = ""
    is_number: bool = True
    on_terminal: bool = True
    on_page: bool = True
    joined: bool = False


class TableRow(NamedTuple):
    """A row: its cells, how much it matters, and where it is shown."""

    cells: Sequence[Cell]
    weight: float = 0.0
    on_page: bool = True
    on_terminal: bool = True


class Table(NamedTuple):
    """A table: what it shows, its columns and its rows."""

    title: str
    columns: Sequence[Column]
    rows: Sequence[TableRow]

    def page_heads(self) -> list[str]:
        """The headings of the page."""
        return [c.heading for c in self.columns if c.on_page and not c.joined]

    def page_numbers(self) -> list[int]:
        """Which of the page's columns are set to the right."""
        shown = [c for c in self.columns if c.on_page and not c.joined]
        return [index for index, column in enumerate(shown) if column.is_number]

    def page_rows(self, review: Review) -> list[list[str]]:
        """The texts of the page, row by row."""
        on_page = [column.on_page for column in self.columns]
        return [self._texts(review, row, on_page) for row in self.rows if row.on_page]

    def page_weights(self) -> list[float]:
        """How much each of the page's rows matters."""
        return [row.weight for row in self.rows if row.on_page]

    def terminal_rows(self, review: Review) -> list[list[str]]:
        """The texts of a terminal, row by row."""
        on_terminal = [column.on_terminal for column in self.columns]
        return [self._texts(review, row, on_terminal) for row in self.rows if row.on_terminal]

    def terminal_lines(self, review: Review, glyphs: Glyphs, width: int) -> list[str]:
        """The table in lines of at most `width` columns, or as a list where it is wider.

        A column that names the rows needs no heading, nor does a single one beside it.
        """
        shown = [c for c in self.columns if c.on_terminal and not c.joined]
        headings = ["", *(column.heading.lower() for column in shown[1:])]
        return table_lines(
            headings if len(headings) > 2 else [""] * len(headings),
            [[glyphs.text(text) for text in row] for row in self.terminal_rows(review)],
            width,
            align="".join(">" if column.is_number else "<" for column in shown),
        )

    def _texts(self, review: Review, row: TableRow, shown: Sequence[bool]) -> list[str]:
        """The texts of the columns shown, joined ones behind those before them."""
        texts: list[str] = []
        for column, cell, is_shown in zip(self.columns, row.cells, shown, strict=True):
            if not is_shown:
                continue
            text = cell.text(review)
            if column.joined:
                texts[-1] += f", {text}" if text else ""
            else:
                texts.append(text)
        return texts
