"""Lists that are cast in a mould: the same bytes as by the template, whatever stands in them."""

from __future__ import annotations

from dataclasses import replace

import pytest

from dashboards import database, moulds, render
from dashboards.blocks import Link, Note, Page, Section, Table
from dashboards.pages import list_page
from tests.browser.hostile import QUOTES, TURNED
from tests.browser.make_fixture_db import make_fixture_db

TEXTS = (
    QUOTES,
    TURNED,
    "50 % of <b>&amp;",
    f"{moulds.write_mark('title')} {moulds.write_mark('body')}",
    r"\1 \g<0> {} %s",
    "Ÿ 7 %",
)


@pytest.fixture(scope="module")
def lists(tmp_path_factory):
    """The context, and every page of every list."""
    db = make_fixture_db(tmp_path_factory.mktemp("moulds") / "a.duckdb", vessels=3, units=6, months=14)
    with database.open_database(db) as con:
        book, context = list_page.read_book(con, database.read_context(con, db))
    return context, list(list_page.make_pages(book, context, sorted(book.entries)))


def write_both(context, page: Page) -> tuple[str, str]:
    """By mould and by template."""
    env, on = render.make_environment(), render.Sheet(page, "../" * page.path.count("/"), ())
    assert moulds.is_castable(page)
    return render.write_alike(env, context, page, on), render.write_html(env, context, page, on)


def test_every_list_is_as_the_template_writes_it(lists):
    context, pages = lists
    pages = [page for page in pages if moulds.is_castable(page)]
    assert len(pages) > 200
    for page in pages:
        cast, written = write_both(context, page)
        assert cast == written


@pytest.mark.parametrize("text", TEXTS)
def test_hostile_texts_are_cast_as_the_template_writes_them(lists, text):
    context, (first, *_) = lists[0], lists[1]
    section, table = first.sections[0], first.sections[0].blocks[0]
    marked = replace(section, blocks=(replace(table, caption=text, rows=((text, text, text, text, (text, 1)),)),))
    page = replace(first, title=text, answer=text, crumbs=(Link(text, f"vessel/{text}.html"),), sections=(marked,))
    for shown in (first, page, first):  # the mould is made of another, and stays as it was
        cast, written = write_both(context, shown)
        assert cast == written


def test_what_differs_elsewhere_is_cast_in_another_mould(lists):
    context, (first, *_) = lists[0], lists[1]
    section = first.sections[0]
    others = (
        replace(first, question="Another?"),
        replace(first, is_caution_on_top=False),
        replace(first, nav="overdue.html"),
        replace(first, path="list/deep/down/a.html"),
        replace(first, sections=(replace(section, remark="Another", is_wide=False),)),
        replace(first, sections=(replace(section, blocks=(replace(section.blocks[0], is_folded=True),)),)),
    )
    pages = [(context, page) for page in (first, *others)] + [(replace(context, file_count=9), first)]
    written = [write_both(*pair) for pair in pages]
    assert all(cast == page for cast, page in written) and len({page for _, page in written}) == len(pages)


def test_pages_of_another_shape_have_no_mould(lists):
    _, (first, *_) = lists
    section, table = first.sections[0], first.sections[0].blocks[0]
    assert isinstance(table, Table) and isinstance(section, Section)
    for page in (
        replace(first, is_one_of_many=False),
        replace(first, crumbs=()),
        replace(first, siblings=first.crumbs),
        replace(first, sections=(section, section)),
        replace(first, sections=(replace(section, blocks=(table, Note("more"))),)),
        replace(first, sections=(replace(section, blocks=(replace(table, has_twin=True),)),)),
        replace(first, sections=(replace(section, blocks=(replace(table, rows=()),)),)),
    ):
        assert not moulds.is_castable(page)
