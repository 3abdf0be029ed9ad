"""A table for the terminal that never breaks a number, however narrow the window."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from rich.console import Console, ConsoleOptions, RenderableType, RenderResult

    from canopysim.report.rows import Table

# Characters between two columns, and the narrowest column of row names that still reads well.
GAP = 2
NARROWEST_NAME = 20


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
        widths = [
            max([len(row[number]) for row in table.rows] + [min(len(heading), 8)])
            for number, heading in enumerate(table.columns)
        ]
        # The names of the rows may be folded, down to a width that still reads well.
        room = options.max_width - min(widths[0], NARROWEST_NAME)
        for part, columns in enumerate(packed(widths, room)):
            if part:
                yield ""
            name = options.max_width - sum(GAP + widths[number] for number in columns)
            yield self._drawn(columns, min(widths[0], max(name, 1)), widths)
        if table.note:
            yield Text(table.note, style="dim")

    def _drawn(self, columns: list[int], name_width: int, widths: list[int]) -> RenderableType:
        from rich import box
        from rich.table import Table as RichTable
        from rich.text import Text

        table = self.table
        drawn = RichTable(
            box=box.SIMPLE_HEAD, padding=(0, 1, 0, 0), pad_edge=False, show_edge=False
        )
        drawn.add_column(Text(table.columns[0]), width=name_width)
        for number in columns:
            heading = "\n".join(textwrap.wrap(table.columns[number], widths[number]))
            drawn.add_column(Text(heading), justify="right", width=widths[number])
        for row in table.rows:
            drawn.add_row(Text(row[0]), *(Text(row[number]) for number in columns))
        return drawn


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
