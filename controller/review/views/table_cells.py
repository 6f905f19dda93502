"""A table that a terminal and a page can draw: columns, and rows of typed cells."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple, Protocol

from controller import display
from controller.review.phrases import minutes_words, value_words
from controller.review.report import Review


class Cell(Protocol):
    """What stands in a cell."""

    def text(self, review: Review, *, terminal: bool) -> str:
        """As the terminal or the page shows it."""


class Text(NamedTuple):
    """A text; `terminal` where the terminal has another."""

    page: str
    terminal: str | None = None

    def text(self, _: Review, *, terminal: bool) -> str:
        """The text."""
        return self.terminal if terminal and self.terminal is not None else self.page


class Value(NamedTuple):
    """A value of a quantity in its SI unit; a dash for None."""

    quantity: str
    value: float | None

    def text(self, review: Review, *, terminal: bool) -> str:
        """In the user's units."""
        return value_words(self.quantity, self.value, review.settings.units)


class Length(NamedTuple):
    """A length of time [min]; a dash for less than half a minute, unless `exact`."""

    minutes: float
    exact: bool = False
    narrow: bool = False  # whether the terminal has little room for it

    def text(self, _: Review, *, terminal: bool) -> str:
        """In hours and minutes."""
        if self.minutes < 0.5 and not self.exact:
            return "–"
        if terminal and self.narrow:
            hours, rest = divmod(round(self.minutes), 60)
            return f"{hours} h {rest:02d}" if hours else f"{rest} min"
        return minutes_words(self.minutes)


class Moment(NamedTuple):
    """An instant [Unix ms]; nothing for None."""

    at_ms: float | None
    clock_only: bool = False

    def text(self, review: Review, *, terminal: bool) -> str:
        """On the tent's clock, with its date in a period of several days."""
        if self.at_ms is None:
            return ""
        if self.clock_only:
            return f"{review.period.local(self.at_ms):%H:%M}"
        return review.period.when(self.at_ms)


class Energy(NamedTuple):
    """Energy [kWh]."""

    kwh: float | None

    def text(self, _: Review, *, terminal: bool) -> str:
        """With its unit."""
        if self.kwh is None:
            return "not known: the config does not give the fan's power" if terminal else "–"
        return display.energy(self.kwh)


class Cost(NamedTuple):
    """Money in the config's currency; nothing for None."""

    amount: float | None

    def text(self, review: Review, *, terminal: bool) -> str:
        """With its currency."""
        if self.amount is None:
            return ""
        return display.money(self.amount, review.settings.energy.currency)


class Column(NamedTuple):
    """A column.

    Attributes
    ----------
    heading : str
        Its heading on the page; the terminal's is in lower case.
    is_number : bool
        Whether it is set to the right.
    width : int or None
        Its width on a terminal; 0 for as wide as its text; None: not shown there.
    gap : str
        What the terminal sets before it.
    on_page : bool
        Whether the page shows it.
    joined : bool
        Whether the page writes it behind the text of the column before, after a comma.
    terminal_heading : str or None
        The terminal's heading, where it is another.
    """

    heading: str = ""
    is_number: bool = True
    width: int | None = None
    gap: str = " "
    on_page: bool = True
    joined: bool = False
    terminal_heading: str | None = None


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
        rows = []
        for row in self.rows:
            texts: list[str] = []
            for column, cell in zip(self.columns, row.cells, strict=True):
                text = cell.text(review, terminal=False)
                if column.joined:
                    texts[-1] += f", {text}" if text else ""
                elif column.on_page:
                    texts.append(text)
            if row.on_page:
                rows.append(texts)
        return rows

    def page_weights(self) -> list[float]:
        """How much each of the page's rows matters."""
        return [row.weight for row in self.rows if row.on_page]

    def terminal_heading(self) -> str:
        """The line of headings of a terminal."""
        heads = (
            c.heading.lower() if c.terminal_heading is None else c.terminal_heading
            for c in self.columns
        )
        return self._line(list(heads))

    def terminal_lines(self, review: Review) -> list[str]:
        """The lines of a terminal."""
        return [
            self._line([cell.text(review, terminal=True) for cell in row.cells])
            for row in self.rows
            if row.on_terminal
        ]

    def _line(self, texts: Sequence[str]) -> str:
        line = ""
        for column, text in zip(self.columns, texts, strict=True):
            if column.width is None or (column.width == 0 and not text):
                continue
            align = ">" if column.is_number else "<"
            line += f"{column.gap}{text:{align}{column.width or 1}}"
        return line.rstrip()
