"""Pages to files: the templates, the CSV twins, the chart data.

In: a `Page`, the `Context`, the folder of the new site. Out: one HTML file and a CSV for each table of the page.
"""

from __future__ import annotations

import json
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path, PurePosixPath

from jinja2 import Environment, PackageLoader, StrictUndefined
from markupsafe import Markup

from dashboards import tables, words
from dashboards.blocks import Chart, Choice, Context, Count, Link, Page, Table

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
    env.filters["css_text"] = write_css_text
    env.globals["NAVIGATION"] = NAVIGATION
    env.globals["kind_of"] = lambda block: type(block).__name__
    return env


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


def write_page(env: Environment, context: Context, page: Page, folder: Path) -> Path:
    """Write the page and its CSV twins; return the path of the HTML file."""
    root = "../" * page.path.count("/")
    parts = {f"parts/{PurePosixPath(page.path).stem}.js": write_parts(choice) for choice in list_choices(page)}
    html = env.get_template("page.html").render(
        page=page,
        context=context,
        root=root,
        stem=page.path.removesuffix(".html").replace("/", "-"),
        twin=lambda table: root + name_twin(page, table),
        body=lambda table: Markup("\n".join(tables.write_body(table, root))),
        right=tables.RIGHT,
        number=lambda value: value.write(root) if isinstance(value, Count) else value,
        chart_json=write_json,
        scripts=[choice.script for choice in list_choices(page)],
        parts=[(root + path, len(text.encode())) for path, text in parts.items()],
    )
    target = folder / page.path
    target.parent.mkdir(parents=True, exist_ok=True)
    target.write_text(words.show_safely(html), encoding="utf-8", newline="\n")
    for path, text in parts.items():
        (folder / path).parent.mkdir(exist_ok=True)
        (folder / path).write_text(text, encoding="utf-8", newline="\n")
    for table in list_tables(page):
        twin = folder / name_twin(page, table)
        twin.parent.mkdir(parents=True, exist_ok=True)
        # The mark lets spreadsheets see UTF-8 in a vessel's name.
        twin.write_text(tables.write_csv(table), encoding="utf-8-sig", newline="")
    return target
