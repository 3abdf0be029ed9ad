"""What is known of each fixture, and how: a table for `check` and the page."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from canopysim.report.markup import escape, folded_html, prose, table_html
from canopysim.report.rows import Table

if TYPE_CHECKING:
    from canopysim.results import Result


def fact_tables(found: list[dict[str, Any]]) -> list[Table]:
    """Make a table for each fixture.

    Parameters
    ----------
    found : list of dict
        Of `canopysim.light.facts.fixture_facts`.
    """
    tables = []
    for each in found:
        rows = tuple(
            (fact["what"], fact["value"] or "–", fact["how"], fact["why"]) for fact in each["facts"]
        )
        note = " ".join(f"Doubt: {doubt}." for doubt in each["doubts"])
        caption = f"{each['fixture']}: what is known of one fixture"
        tables.append(Table(caption, ("What", "Value", "How known", "From what"), rows, note))
    return tables


def fixture_facts_html(result: Result) -> str:
    """Make the section of the page; "" for results that tell nothing of fixtures."""
    found = result.meta.get("fixtures") or []
    if not found:
        return ""
    doubts = "".join(
        f'<p class="warning"><strong>{escape(each["fixture"])}.</strong> {prose(doubt)}.</p>\n'
        for each in found
        for doubt in each["doubts"]
    )
    body = "\n".join(table_html(table) for table in fact_tables(found))
    return doubts + folded_html("What is known of the lights, and how", body)
