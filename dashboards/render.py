"""Pages to files: the templates, the CSV twins, the chart data.

In: a `Page`, the `Context`, the folder of the new site. Out: one HTML file and a CSV for each table of the page.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from functools import cache, lru_cache
from pathlib import PurePosixPath
from typing import Any

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup, escape

from dashboards import moulds, tables, twins, words
from dashboards.blocks import Chart, Choice, Context, Count, Link, Page, Stamp, Table
from dashboards.keep_same import Folder

NAVIGATION = (
    Link("Fleet", "index.html"),
    Link("Units", "register.html"),
    Link("Overdue", "overdue.html"),
    Link("Fitness", "fitness.html"),
    Link("Defects", "defects.html"),
    Link("Corrosion", "corrosion.html"),
    Link("Agents", "agents.html"),
    Link("Watch list", "watch-list.html"),
    Link("Data quality", "data-quality.html"),
    Link("Method", "method.html"),
)


@cache
def make_environment() -> Environment:
    """Templates with escaping always on and undefined names an error; compiled once a process."""
    env = Environment(
        loader=PackageLoader("dashboards"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    env.filters["say_date"] = words.say_date
    env.filters["say_number"] = words.say_number
    env.filters["tie"] = tie_units
    env.globals["NAVIGATION"] = NAVIGATION
    env.globals["RIGHT"] = tables.RIGHT
    env.globals["chart_json"] = write_json
    env.globals["kind_of"] = lambda block: type(block).__name__
    return env


def load_templates() -> None:
    """Compile all of them now: before processes fork that would each do so."""
    for name in make_environment().list_templates(extensions=["html"]):
        make_environment().get_template(name)


def tie_units(text: str) -> str:
    """Keep a number and its percent sign on one line."""
    tied = re.sub(r"(?<=\d) %", "\u00a0%", text)
    return Markup(tied) if isinstance(text, Markup) else tied


def write_css_text(text: str) -> Markup:
    """A text inside a CSS string: letters and digits of any script stay, all else is written as a code point."""
    return Markup("".join(c if c.isalnum() or c == " " else f"\\{ord(c):x} " for c in words.show_safely(text)))


def write_json(figure: dict) -> Markup:
    """A figure for a script element: compact, sorted, and no character that could end the element."""
    text = json.dumps(figure, sort_keys=True, separators=(",", ":"), ensure_ascii=False, allow_nan=False)
    return Markup(text.replace("&", "\\u0026").replace("<", "\\u003c").replace(">", "\\u003e"))


def list_tables(page: Page) -> Iterator[Table]:
    """Every table of the page that has a CSV twin."""
    for section in page.sections:
        for block in section.blocks:
            tables = block.tables if isinstance(block, Choice) else (block.table if isinstance(block, Chart) else block,)
            yield from (t for t in tables if isinstance(t, Table) and t.has_twin and t.rows)


def list_choices(page: Page) -> Iterator[Choice]:
    """What of the page is added up as the reader chooses."""
    yield from (block for section in page.sections for block in section.blocks if isinstance(block, Choice))


def write_parts(choice: Choice) -> str:
    """The numbers as a script: a page that opens from a folder may not read any other file."""
    return f"window.firekpiParts = {write_json(choice.parts)};\n"


def name_twin(page: Page, table: Table) -> str:
    """Path of the CSV, relative to the site's root: data/overdue-ages.csv, data/vessel/9000003-register.csv."""
    stem = PurePosixPath(page.path).with_suffix("")
    return f"data/{'fleet' if str(stem) == 'index' else stem}-{table.name}.csv"


@dataclass(frozen=True)
class Sheet:
    """What the macros of blocks.html need to know of the page that a block stands on."""

    page: Page
    root: str
    parts: tuple[tuple[str, int], ...]

    @property
    def title(self) -> Markup:
        """Of the page, for the style sheet of paper."""
        return write_css_text(self.page.title)

    @property
    def stem(self) -> str:
        """Of the page's own names inside it."""
        return self.page.path.removesuffix(".html").replace("/", "-")

    def twin(self, table: Table) -> str:
        """Where the CSV of a table stands."""
        return self.root + name_twin(self.page, table)

    def body(self, table: Table) -> Markup:
        """The rows of a table."""
        return Markup("\n".join(tables.write_body(table, self.root)))

    def number(self, value: str | Count) -> str:
        """A number, with the list behind it."""
        return value.write(self.root) if isinstance(value, Count) else value


class MarkedSheet(Sheet):
    """The sheet of a page that a mould is made of."""

    title, stem = Markup(moulds.write_mark("css")), moulds.write_mark("stem")

    def body(self, table: Table) -> Markup:
        """Where the rows go."""
        return Markup(moulds.write_mark("body"))


@lru_cache(maxsize=64)
def write_top(root: str, nav: str, path: str, is_alone: bool, as_of: date) -> Markup:
    """The head of a page, the same on thousands of them."""
    template = make_environment().get_template("top.html")
    return Markup(template.render(root=root, nav=nav, path=path, is_alone=is_alone, as_of=as_of).rstrip("\n"))


@lru_cache(maxsize=16)
def write_foot(root: str, is_alone: bool, is_caution_on_top: bool, stamp: Stamp) -> Markup:
    """The foot of a page."""
    template = make_environment().get_template("foot.html")
    said = template.render(root=root, is_alone=is_alone, is_caution_on_top=is_caution_on_top, stamp=stamp)
    return Markup(said.rstrip("\n"))


@cache
def write_caution() -> Markup:
    """What every page says that calls a unit fit, due or to be condemned."""
    return Markup(make_environment().get_template("caution.html").render())


def write_html(env: Environment, context: Context, page: Page, on: Sheet) -> str:
    """The page by its template."""
    in_navigation = page.path if any(link.href == page.path for link in NAVIGATION) else ""
    return env.get_template("page.html").render(
        page=page,
        context=context,
        root=on.root,
        on=on,
        top=write_top(on.root, page.nav or page.path, in_navigation, page.is_alone, context.as_of),
        foot=write_foot(on.root, page.is_alone, page.is_caution_on_top, context.stamp),
        caution=write_caution(),
        scripts=[choice.script for choice in list_choices(page)],
    )


def write_alike(env: Environment, context: Context, page: Page, on: Sheet) -> str:
    """One of many pages, as its template would write it."""
    table: Any = page.sections[0].blocks[0]
    texts = {
        "title": escape(page.title),
        "css": on.title,
        "stem": escape(on.stem),
        "answer": escape(tie_units(page.answer)),
        "crumb": escape(page.crumbs[0].text),
        "href": escape(page.crumbs[0].href),
        "caption": escape(tie_units(table.caption)),
        "body": on.body(table),
    }
    return moulds.cast_page(
        page, context.stamp, texts, lambda marked: write_html(env, context, marked, MarkedSheet(marked, on.root, ()))
    )


def write_page(env: Environment, context: Context, page: Page, folder: Folder) -> None:
    """Write the page and its CSV twins."""
    root = "../" * page.path.count("/")
    parts = {f"parts/{PurePosixPath(page.path).stem}.js": write_parts(choice).encode() for choice in list_choices(page)}
    on = Sheet(page, root, tuple((root + path, len(content)) for path, content in parts.items()))
    html = (write_alike if moulds.is_castable(page) else write_html)(env, context, page, on)
    folder.write(page.path, words.show_safely(html).encode())
    for path, content in parts.items():
        folder.write(path, content)
    for table in list_tables(page):
        # The mark lets spreadsheets see UTF-8 in a vessel's name.
        folder.write(name_twin(page, table), twins.write_csv(table).encode("utf-8-sig"))
