"""Adds the pages and tables that are made from the code, each time the site is built.

Nothing that is made here is stored, so it cannot be out of date.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

from charger_requirements_page import PLACE as CHARGER_REQUIREMENTS
from charger_requirements_page import charger_requirements_page
from chemistry_table import chemistry_sources, chemistry_table
from measures_table import measures_table
from requirement_pages import requirement_pages
from reset_rules_table import reset_rules_table
from settings_page import settings_page
from stages_table import stages_table
from vector_pages import CHARGER, CHARGER_PLACE, members_table, tags_table, vectors_page

if TYPE_CHECKING:
    from mkdocs.config.defaults import MkDocsConfig
    from mkdocs.structure.files import Files

# A line of a page that is only one of these names in braces is replaced by the table.
TABLES = {
    "{stages_table}": stages_table,
    "{measures_table}": measures_table,
    "{reset_rules_table}": reset_rules_table,
    "{members_table}": members_table,
    "{tags_table}": tags_table,
    "{chemistry_table}": chemistry_table,
    "{chemistry_sources}": chemistry_sources,
}

# So many letters of code stay on one line: an option that breaks behind its hyphens is hard to read.
_SHORT_CODE = re.compile(r"<code>([^<>\s]{1,28})</code>")


def pages() -> dict[str, str]:
    """Every page that is made from the code, by its place in the folder of documents."""
    return {
        "reference/settings.md": settings_page(),
        "reference/vectors.md": vectors_page(),
        CHARGER_PLACE: vectors_page(CHARGER),
        CHARGER_REQUIREMENTS: charger_requirements_page(),
        **requirement_pages(),
    }


def with_tables(markdown: str) -> str:
    """A page with its tables in it."""
    lines = [TABLES[line]() if line in TABLES else line for line in markdown.split("\n")]
    return "\n".join(lines)


def on_files(files: Files, config: MkDocsConfig) -> Files:
    """Add the generated pages to those that are written by hand."""
    from mkdocs.structure.files import File

    for place, content in pages().items():
        files.append(File.generated(config, place, content=content))
    return files


def on_page_markdown(markdown: str, **_: Any) -> str:
    """Fill in the tables of a page."""
    return with_tables(markdown)


def on_page_content(html: str, **_: Any) -> str:
    """Mark short code, which the style keeps on one line."""
    return _SHORT_CODE.sub(r'<code class="short">\1</code>', html)
