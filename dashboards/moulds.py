"""Pages that are alike but for a few texts and the rows of one table are cast: the template writes one of them with marks in place of those.

In: a `Page` that is one of many, and how the template writes it. Out: its HTML, byte for byte as the template would write it, at a
fifth of the time. A large fleet has some sixty lists a vessel.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from typing import Any

from dashboards.blocks import Link, Page, Section, Table

MARK = re.compile("Mark([a-z]+)OfMould")
_moulds: dict[tuple, list[str]] = {}


def write_mark(name: str) -> str:
    """A text that stays as it is wherever it is written, and stands in no template."""
    return f"Mark{name}OfMould"


def is_castable(page: Page) -> bool:
    """True for one of many pages that holds one table without a CSV, under one link."""
    blocks = [block for section in page.sections for block in section.blocks]
    if not page.is_one_of_many or len(blocks) != 1 or len(page.crumbs) != 1 or page.siblings:
        return False
    return isinstance(blocks[0], Table) and bool(blocks[0].rows) and not blocks[0].has_twin


def mark_page(page: Page) -> Page:
    """The page with marks in place of what differs; its path, and the rows, are marked by the sheet that they are written on."""
    section = page.sections[0]
    table = section.blocks[0]
    marked = Table(**{**vars(table), "caption": write_mark("caption")})
    return Page(**{
        **vars(page),
        "title": write_mark("title"),
        "answer": write_mark("answer"),
        "crumbs": (Link(write_mark("crumb"), write_mark("href")),),
        "sections": (Section(**{**vars(section), "blocks": (marked,)}),),
    })  # fmt: skip


def list_alike(page: Page) -> tuple:
    """What two pages of one mould have in common."""
    section = page.sections[0]
    table: Any = section.blocks[0]
    return (
        page.path.count("/"), page.question, page.nav, page.is_caution_on_top, page.is_alone, page.is_sheet, section.name, section.heading,
        section.remark, section.is_wide, table.name, table.columns, table.is_register, table.is_folded,
    )  # fmt: skip


def cast_page(page: Page, run: tuple, texts: dict[str, str], write: Callable[[Page], str]) -> str:
    """The page's HTML. `run` is what else the template shows, `texts` are by mark and as they stand in HTML; `write` writes a marked page."""
    alike = (run, list_alike(page))
    pieces = _moulds.get(alike)
    if pieces is None:
        pieces = _moulds[alike] = MARK.split(write(mark_page(page)))
    filled = pieces.copy()
    filled[1::2] = [texts[name] for name in pieces[1::2]]
    return "".join(filled)
