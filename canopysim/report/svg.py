"""matplotlib figures as inline SVG: self-contained, reproducible, right on light and dark pages."""

from __future__ import annotations

import html
import io
import re
import warnings
from types import TracebackType
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

# Okabe and Ito's colours, which people with any colour vision tell apart, on light and on dark.
PALETTE = ("#0072B2", "#E69F00", "#009E73", "#CC79A7", "#56B4E9", "#D55E00", "#8C7A3D")

# Drawn in this colour, then replaced by the page's own text colour.
INK = "#010203"

_STYLE: dict[str, Any] = {
    "svg.fonttype": "none",
    "text.parse_math": False,
    "font.family": ["sans-serif"],
    "font.sans-serif": ["DejaVu Sans"],
    "font.size": 9.0,
    "text.color": INK,
    "axes.labelcolor": INK,
    "axes.edgecolor": INK,
    "xtick.color": INK,
    "ytick.color": INK,
    "hatch.color": INK,
    "figure.facecolor": "none",
    "axes.facecolor": "none",
    "savefig.facecolor": "none",
    "legend.fontsize": 8.5,
}


class drawing:
    """Style for one figure, and its SVG text after `finish`.

    Parameters
    ----------
    name : str
        Prefix of all ids inside, unique on the page; letters, digits and hyphens.
    title : str
        What a screen reader says.
    """

    def __init__(self, name: str, title: str) -> None:
        from matplotlib import rc_context

        self.svg = ""
        self._name = name
        self._title = title
        style: Any = {**_STYLE, "svg.hashsalt": name}
        self._style = rc_context(style)

    def __enter__(self) -> drawing:
        self._style.__enter__()
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self._style.__exit__(kind, error, trace)

    def finish(self, figure: Figure) -> None:
        """Render the figure into `svg`."""
        text = io.StringIO()
        with warnings.catch_warnings():
            # A name in a script that the measuring font lacks is still right on the page.
            warnings.filterwarnings("ignore", message="Glyph .* missing from")
            figure.savefig(
                text,
                format="svg",
                metadata={"Date": None, "Creator": None, "Format": None, "Type": None},
            )
        self.svg = inline(text.getvalue(), self._name, self._title)


def new_figure(width_in: float, height_in: float) -> tuple[Figure, Axes]:
    """Figure with one pair of axes, free of pyplot's global state; size in inches at 72 units."""
    from matplotlib.backends.backend_svg import FigureCanvasSVG
    from matplotlib.figure import Figure

    figure = Figure(figsize=(width_in, height_in), layout="constrained")
    FigureCanvasSVG(figure)
    return figure, figure.add_subplot()


def inline(document: str, name: str, title: str) -> str:
    """Turn an SVG document into an element for a page.

    Parameters
    ----------
    document : str
        What matplotlib wrote.
    name : str
        Put before every id, because ids are shared by the whole page.
    title : str
        Label for screen readers.

    Returns
    -------
    str
        `<svg>` element without any outside address: namespaces and metadata are not needed in HTML.
    """
    svg = document[document.index("<svg") :]
    svg = re.sub(r"<metadata>.*?</metadata>\s*", "", svg, flags=re.DOTALL)
    svg = re.sub(r'\s+xmlns(:\w+)?="[^"]*"', "", svg)
    svg = svg.replace("xlink:href=", "href=")
    svg = re.sub(r'\bid="', f'id="{name}-', svg)
    svg = re.sub(r'href="#', f'href="#{name}-', svg)
    svg = svg.replace("url(#", f"url(#{name}-")
    svg = svg.replace(INK, "currentColor")
    # The page sets the size; the view box keeps the proportions.
    opening = svg[: svg.index(">") + 1]
    shape = re.search(r'viewBox="[^"]*"', opening)
    label = html.escape(title, quote=True)
    start = f'<svg role="img" aria-label="{label}" {shape.group() if shape else ""}>'
    return start + svg[len(opening) :].strip()
