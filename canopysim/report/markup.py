"""HTML pieces: escaped text, tables that scroll by themselves, lists of settings."""

from __future__ import annotations

import base64
import html
import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

from canopysim.report.words import FLUX, FLUX_DENSITY

if TYPE_CHECKING:
    from pathlib import Path

    from canopysim.report.rows import Table


def escape(text: object) -> str:
    """Text that means only itself, in content and in quoted attributes."""
    return html.escape(str(text), quote=True)


def prose(text: str) -> str:
    """Escaped text of our own whose units and wavebands are not broken over lines."""
    pattern = rf"{FLUX_DENSITY}|{FLUX}|\d{{3,4}}–\d{{3,4}} nm|(?:[−\d.]+ )?± [\d.]+(?: %)?"
    return re.sub(pattern, lambda match: f'<span class="u">{match[0]}</span>', escape(text))


def table_html(table: Table) -> str:
    """Heading, and a table inside its own scrolling frame; the first column names the rows."""
    head = "".join(f'<th scope="col">{prose(column)}</th>' for column in table.columns)
    body = "".join(
        f"<tr>{_row_head(row[0])}" + "".join(f"<td>{escape(v)}</td>" for v in row[1:]) + "</tr>\n"
        for row in table.rows
    )
    note = f'\n<p class="note">{prose(table.note)}</p>' if table.note else ""
    label = escape(table.caption)
    return (
        f"<h3>{prose(table.caption)}</h3>\n"
        f'<div class="scroll" tabindex="0" role="region" aria-label="{label}">\n'
        f'<table aria-label="{label}">\n<thead><tr>{head}</tr></thead>\n'
        f"<tbody>\n{body}</tbody>\n</table>\n</div>{note}"
    )


def _row_head(text: str) -> str:
    """Name of a row; a short one stays on one line."""
    short = ' class="u"' if len(text) <= 24 else ""
    return f'<th scope="row"{short}>{escape(text)}</th>'


def pairs_html(pairs: Iterable[tuple[str, str]]) -> str:
    """List of names and values."""
    items = "".join(
        f"<div><dt>{prose(name)}</dt><dd>{prose(value)}</dd></div>\n" for name, value in pairs
    )
    return f"<dl>\n{items}</dl>"


def folded_html(title: str, body: str) -> str:
    """Part of the page that is closed until it is asked for; `body` is markup of our own making."""
    return f"<details><summary>{escape(title)}</summary>\n{body}</details>"


def figure_html(svg: str, caption: str) -> str:
    """Drawing with a sentence below it; `svg` is markup of our own making."""
    return f"<figure>{svg}<figcaption>{prose(caption)}</figcaption></figure>"


def picture_html(path: Path, caption: str) -> str:
    """PNG picture carried inside the page."""
    data = base64.b64encode(path.read_bytes()).decode("ascii")
    return (
        f'<figure class="picture"><img alt="{escape(caption)}" src="data:image/png;base64,{data}">'
        f"<figcaption>{escape(caption)}</figcaption></figure>"
    )


STYLE = """
:root { color-scheme: light dark; --line: #8886; --soft: #8881; --accent: #0072b2; }
* { box-sizing: border-box; }
body { margin: 0 auto; padding: 1rem clamp(0.8rem, 3vw, 2rem) 3rem; max-width: 72rem;
  font: 16px/1.5 system-ui, "Segoe UI", "DejaVu Sans", sans-serif; overflow-wrap: anywhere; }
h1 { font-size: clamp(1.4rem, 4vw, 2rem); line-height: 1.2; margin: 0.5rem 0 0.2rem; }
h2 { font-size: 1.25rem; margin: 2.2rem 0 0.6rem; padding-bottom: 0.2rem;
  border-bottom: 1px solid var(--line); }
.lead { margin: 0 0 1rem; opacity: 0.8; }
.warning { border-left: 0.4rem solid #d55e00; background: var(--soft); padding: 0.6rem 1rem; }
.cards { display: grid; grid-template-columns: repeat(auto-fit, minmax(14rem, 1fr)); gap: 0.8rem; }
.cards > div { background: var(--soft); border-top: 0.25rem solid var(--accent);
  padding: 0.6rem 0.9rem; }
.cards .label { font-size: 0.9rem; }
.cards .value { font-size: 1.4rem; font-weight: 600; line-height: 1.25; }
.cards .unit { font-size: 0.85rem; opacity: 0.85; }
.scroll { overflow-x: auto; margin: 0 0 0.6rem; }
table { border-collapse: collapse; font-variant-numeric: tabular-nums; font-size: 0.93rem; }
h3 { font-size: 0.95rem; margin: 1.3rem 0 0.2rem; }
.u { white-space: nowrap; }
th, td { padding: 0.3rem 0.7rem; text-align: right; border-bottom: 1px solid var(--line);
  overflow-wrap: normal; }
td { white-space: nowrap; }
.scroll th:first-child { position: sticky; left: 0; background: Canvas; }
thead th { vertical-align: bottom; min-width: 5rem; }
th:first-child { text-align: left; font-weight: 500;
  padding-left: 0; }
.note, figcaption { font-size: 0.85rem; opacity: 0.85; }
.figures { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 24rem), 1fr));
  gap: 1rem; align-items: start; }
figure { margin: 0.6rem 0; min-width: 0; }
figure svg { display: block; width: 100%; height: auto; max-width: 36rem; }
.picture img { display: block; max-width: 100%; height: auto; max-height: 52rem;
  background: #fff; border-radius: 4px; }
dl { display: grid; grid-template-columns: repeat(auto-fit, minmax(min(100%, 20rem), 1fr));
  gap: 0.2rem 1.5rem; margin: 0.6rem 0; }
dl > div { border-bottom: 1px solid var(--line); padding: 0.2rem 0; min-width: 0; }
dt { font-size: 0.85rem; opacity: 0.8; } dd { margin: 0; }
pre { overflow-x: auto; background: var(--soft); padding: 0.8rem; font-size: 0.85rem;
  overflow-wrap: normal; }
details { margin: 1rem 0; }
summary { cursor: pointer; font-weight: 600; }
@media print { body { max-width: none; } details > pre { white-space: pre-wrap; }
  .scroll { overflow: visible; } }
"""


def document(title: str, body: str) -> str:
    """Give a whole page: no script, no request to the outside; `body` is markup of our own."""
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        "img-src data:; style-src 'unsafe-inline'\">\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escape(title)}</title>\n<style>{STYLE}</style>\n</head>\n"
        f"<body>\n<main>\n{body}\n</main>\n</body>\n</html>\n"
    )
