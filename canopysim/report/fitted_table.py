"""A table for the terminal that never breaks a number, however narrow the window."""

from __future__ import annotations

import re
import textwrap
from typing import TYPE_CHECKING

from canopysim.report.words import FLUX, FLUX_DENSITY

if TYPE_CHECKING:
    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

    from canopysim.report.rows import Table

# Characters between two columns, and the narrowest column of row names that still reads well.
GAP = 2
NARROWEST_NAME = 20
# A heading is folded into no more lines than this.
MOST_LINES = 5


class FittedTable:
    """Caption, cells and note; columns that do not fit go into a second table below the first.

    Parameters
    ----------
    table : Table
        What to show.
    """

    def __init__(self, table: Table) -> None:
        self.table = table

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> RenderResult:
        """Caption, one or more tables, note."""
        from rich.text import Text

        table = self.table
        yield Text(f"\n{table.caption}", style="bold")
        cells = [
            max((len(row[n]) for row in table.rows), default=0) for n in range(len(table.columns))
        ]
        least = [max(cells[n], heading_width(h, MOST_LINES)) for n, h in enumerate(table.columns)]
        # The names of the rows may be folded, down to a width that still reads well.
        room = options.max_width - min(cells[0], NARROWEST_NAME)
        for part, columns in enumerate(packed(least, room)):
            if part:
                yield ""
            name = max(cells[0], len(table.columns[0]))
            room = options.max_width - GAP * len(columns) - name
            widths = _wide_as_room(table.columns, cells, columns, room)
            if len(columns) == 1:
                # A column wider than all the room is folded, so that the names stay beside it.
                beside = min(name, NARROWEST_NAME, options.max_width // 2)
                widest = options.max_width - GAP - beside
                widths = {n: max(1, min(width, widest)) for n, width in widths.items()}
            taken = sum(GAP + widths[number] for number in columns)
            yield self._drawn(columns, max(1, min(name, options.max_width - taken)), widths)
        if table.note:
            yield Text(table.note, style="dim")

    def _drawn(self, columns: list[int], name_width: int, widths: dict[int, int]) -> RenderableType:
        from rich import box
        from rich.table import Table as RichTable
        from rich.text import Text

        table = self.table
        drawn = RichTable(
            box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False, show_edge=False
        )
        drawn.add_column(Text(table.columns[0]), width=name_width)
        for number in columns:
            heading = "\n".join(_wrapped(table.columns[number], widths[number]))
            drawn.add_column(Text(heading), justify="right", width=widths[number])
        for row in table.rows:
            drawn.add_row(Text(row[0]), *(Text(row[number]) for number in columns))
        return drawn


def _kept(heading: str) -> str:
    """Heading whose units and wavebands hold together where it is folded."""
    return re.sub(
        rf"{FLUX_DENSITY}|{FLUX}|\d nm", lambda m: m[0].replace(" ", "\N{NO-BREAK SPACE}"), heading
    )


def _wrapped(heading: str, width: int) -> list[str]:
    lines = textwrap.wrap(_kept(heading), width, break_on_hyphens=False)
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


def heading_width(heading: str, lines: int) -> int:
    """Narrowest column in which a heading takes so many lines at most and no word is broken."""
    width = max(len(word) for word in _kept(heading).split(" "))
    while len(_wrapped(heading, width)) > lines:
        width += 1
    return width


def _wide_as_room(
    headings: tuple[str, ...], cells: list[int], columns: list[int], room: int
) -> dict[int, int]:
    """Widths of some columns with headings of as few lines as the room, in characters, allows."""
    for lines in range(1, MOST_LINES + 1):
        widths = {n: max(cells[n], heading_width(headings[n], lines)) for n in columns}
        if sum(widths.values()) <= room:
            break
    return widths


def packed(widths: list[int], room: int) -> list[list[int]]:
    """Columns 1, 2, ... in groups that fit beside the row names, at least one in each.

    Parameters
    ----------
    widths : list of int
        Width of every column; the first holds the row names.
    room : int
        Characters beside the row names.
    """
    groups: list[list[int]] = []
    left = 0
    for number in range(1, len(widths)):
        need = GAP + widths[number]
        if not groups or need > left:
            groups.append([])
            left = room
        groups[-1].append(number)
        left -= need
    return groups
