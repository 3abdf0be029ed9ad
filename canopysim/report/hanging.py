"""A paragraph for the terminal: indented, and never broken within a figure."""

from __future__ import annotations

import textwrap
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterator

    from rich.console import Console, ConsoleOptions
    from rich.text import Text

NO_BREAK = "\N{NO-BREAK SPACE}"


class Hanging:
    """A paragraph whose lines are all indented; no-break spaces are kept together and shown plain.

    (A rich text may break at those, and pads its lines.)
    """

    def __init__(self, text: str, indent: int, style: str = "") -> None:
        self.text = text
        self.indent = " " * indent
        self.style = style

    def __rich_console__(self, console: Console, options: ConsoleOptions) -> Iterator[Text]:
        """Wrap for the console."""
        from rich.text import Text

        lines = textwrap.wrap(
            self.text,
            max(options.max_width, len(self.indent) + 20),
            initial_indent=self.indent,
            subsequent_indent=self.indent,
            break_long_words=False,
            break_on_hyphens=False,
        )
        for line in lines:
            yield Text(line.replace(NO_BREAK, " "), self.style, overflow="fold")
