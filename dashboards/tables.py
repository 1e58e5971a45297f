"""Accessible tables; all escaping of cell values lives here.

In: a `Table`. Out: body rows as safe markup for the template. Their CSV twins: twins.py.
Kinds of column: text, page_text, page_number, code, long, blank, paper, path, unit, link, anchor, state, spark, count, change, number, percent, date,
part_date, file_line, found, share, part, interval, percent_interval. A `part_date` cell is (date, precision), a `file_line` cell
(path, line), a `found` cell (open findings, worst severity), a `share` or `part` cell (count, of; a part of few has no percentage), an interval cell (value, low, high)
or three times None. A number may be a `Count`, a text a `Link`, a long text a `Run`. `blank` leaves room to write on, `paper` the same in print only.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from datetime import date
from functools import lru_cache
from typing import Any

from markupsafe import Markup, escape

from dashboards import words
from dashboards.blocks import Anchor, Count, Line, Link, Run, Table
from dashboards.line_breaks import LONGEST_WORD, write_breaks, write_cut, write_long, write_text

RIGHT = {
    "count",
    "change",
    "number",
    "percent",
    "date",
    "part_date",
    "share",
    "part",
    "interval",
    "percent_interval",
    "page_number",
}
PARTS = {
    "file_line": ("{}", "line_no"),
    "found": ("open_findings", "worst_open_severity"),
    "share": ("{}_count", "{}_of", "{}_pct"),
    "part": ("{}_count", "{}_of", "{}_pct"),
    "interval": ("{}", "{}_low", "{}_high"),
    "percent_interval": ("{}", "{}_low", "{}_high"),
}
SHAPES = {
    "overdue": "late",
    "failed": "late",
    "unfit": "late",
    "major": "unsure",
    "unknown": "unsure",
    "quiet": "unsure",
    "to condemn": "late",
    "wrong place": "unsure",
    "to be looked at": "unsure",
    "spare": "apart",
    "ashore": "apart",
    "laid up": "apart",
}
UNLIKE = ("file_line", "anchor", "spark")  # kinds whose cells are hardly ever alike
RECORD_KINDS = ["date", "text", "long", "file_line", "code"]
PLAIN = (str, int, float, date, type(None))  # values that need no look at what they hold
CELLS_KEPT = 16_384
SEVERITIES = ("unfit", "major", "minor")  # worst first


def write_state(word: str | None, said: str = "") -> Markup:
    """A status: a shape for the eye, the word for everybody (or `said` in its stead)."""
    if not word:
        return Markup(words.NONE)
    css = SHAPES.get(word, "fine")
    return Markup(f'<span class="state {css}"><i class="shape" aria-hidden="true"></i>{escape(said or word)}</span>')


def write_spark(values: tuple[float | None, ...], top: float) -> Markup:
    """A small trend line; every spark of one table has the same scale, `top` being its upper edge."""
    drawn = [(i, v) for i, v in enumerate(values) if v is not None]
    if len(drawn) < 2 or top <= 0:
        return Markup('<span class="few">too short</span>')
    step = 92 / (len(values) - 1)
    points = " ".join(f"{2 + i * step:.1f},{22 - 20 * v / top:.1f}" for i, v in drawn)
    last = points.split(" ")[-1].split(",")
    peak = max(v for _, v in drawn)
    said = f"from {words.say_percent(drawn[0][1])} to {words.say_percent(drawn[-1][1])}, highest {words.say_percent(peak)}"
    return Markup(
        '<svg class="spark" viewBox="0 0 96 24" width="96" height="24" role="img" aria-label="{}">'
        '<path d="M2 22H94"/><polyline points="{}"/><circle cx="{}" cy="{}" r="2.2"/></svg>'
    ).format(said, points, *last)


SAYS: dict[str, Callable[..., str]] = {
    "count": words.say_number,
    "change": words.say_change,
    "number": lambda v: words.say_number(v, 1),
    "percent": words.say_percent,
    "date": words.say_date,
    "part_date": lambda v: words.say_part_date(*v),
    "share": lambda v: words.say_share(*v),
    "part": lambda v: words.say_part(*v),
    "interval": lambda v: words.say_interval(*v),
    "percent_interval": lambda v: words.say_interval(v[0], v[1], v[2], "%"),
}


@lru_cache(maxsize=4096)
def write_path(path: str | None) -> Markup:
    """A path, or names of columns, that may break after folders and name parts."""
    if not path:
        return Markup(words.NONE)
    return write_breaks(path)


def write_file_line(value: tuple[str | None, int | None]) -> Markup:
    """path:line, as editors take it."""
    path, line_no = value
    return write_path(path) if line_no is None else Markup(f"{write_path(path)}:{line_no}")


def write_unit(value: str) -> Markup:
    """A unit's number stays on one line; the words for a group, or after the number, may break."""
    head, comma, rest = value.partition(", ")
    if " " in head or len(head) > LONGEST_WORD:
        return write_text(value)
    return Markup(f'<span class="whole">{escape(head)}{comma.strip()}</span>{escape(f" {rest}") if rest else ""}')


def write_found(value: tuple[int | None, str | None]) -> Markup:
    """Open findings of a unit and the worst of them: 'unfit', '1 major', '3, worst major'."""
    count, worst = value
    if not count:
        return Markup("none")
    said = f"{count} {worst}" if count == 1 and worst else f"{count}, worst {worst}" if worst else f"{count} without severity"
    return write_state("unfit", said) if worst == "unfit" else escape(said)


def write_anchor(value: Anchor) -> Markup:
    """A text that links lead to."""
    return Markup('<span id="{}">{}</span>').format(value.anchor, value.text)


SHAPED: dict[str, Callable[[Any], Markup]] = {
    "blank": lambda _: Markup(""),
    "paper": lambda _: Markup(""),
    "file_line": write_file_line,
    "found": write_found,
    "long": write_long,
    "path": write_path,
    "state": write_state,
    "unit": write_unit,
    "value": write_cut,
}


def cut_value(value: Any) -> Any:
    """No more of a text than a page can carry; its CSV holds it whole."""
    if isinstance(value, str):
        return words.cut_name(value, words.MOST_LETTERS)
    if isinstance(value, Link):
        return (
            replace(value, text=words.cut_name(value.text, words.MOST_LETTERS)) if len(value.text) > words.MOST_LETTERS else value
        )
    if isinstance(value, Run):
        return Run(tuple(cut_value(part) for part in value.parts))
    return value


def take_number(value: Any) -> Any:
    """A value without the list behind it."""
    if isinstance(value, Count):
        return value.said or value.value
    return (value[0].value, *value[1:]) if isinstance(value, tuple) and value and isinstance(value[0], Count) else value


def write_link(root: str, href: str, said: Markup, mark: str = "") -> Markup:
    """A link; its address is escaped here, since Markup's own format takes a quarter of the time of a large site."""
    return Markup(f'<a href="{escape(root + href)}"{mark}>{said}</a>')


def write_run(run: Run, root: str) -> Markup:
    """A text with links in it."""
    return Markup("").join(
        write_link(root, part.href, write_text(part.text)) if isinstance(part, Link) else write_long(part) for part in run.parts
    )


def pick_writer(kind: str) -> Callable[[Any], Markup]:
    """How a plain value of this kind is written."""
    if kind in SAYS:
        return lambda value: escape(SAYS[kind](value))
    return SHAPED.get(kind) or (lambda value: write_text(words.NONE if value is None or value == "" else str(value)))


def write_value(kind: str, value: Any, root: str, top: float) -> Markup:
    """One value as markup."""
    counted = value if isinstance(value, Count) else value[0] if isinstance(value, tuple) and value else None
    if isinstance(counted, Count):
        said = write_value(kind, take_number(value), root, top)
        return write_link(root, counted.href, said, f' data-count="{counted.value:d}"')
    if isinstance(value, Run):
        return write_run(value, root)
    if isinstance(value, Link) and kind in ("unit", "link"):
        return write_link(root, value.href, write_unit(value.text) if kind == "unit" else write_text(value.text))
    if kind == "anchor" and isinstance(value, Anchor):
        return write_anchor(value)
    if kind == "spark":
        return write_spark(value, top)
    return pick_writer(kind)(value)


def write_sort_key(kind: str, value: Any) -> str | None:
    """What the script sorts by where the written text would mislead."""
    if kind in ("count", "change", "number", "percent"):
        return "" if value is None else str(value)
    if kind == "date":
        return value.isoformat() if value else ""
    if kind == "part_date":
        return value[0].isoformat() if value[0] else ""
    if kind == "found":
        rank = len(SEVERITIES) - SEVERITIES.index(value[1]) if value[1] in SEVERITIES else 0
        return str(1000 * rank + (value[0] or 0))
    if kind in PARTS and kind != "file_line":
        return "" if value[0] is None else str(value[0])
    return None


@lru_cache(maxsize=1024)
def make_cell(kind: str, tag: str, root: str, top: float, is_sorted: bool) -> Callable[[Any], str]:
    """What writes the cells of one column; everything that comes from the data is escaped here.

    Days, words and numbers stand in many tables, and a site may hold thousands of pages: a cell once written is kept. No two rows
    rest on one line of a file, so those cells aren't.
    """
    css = kind + " right" if kind in RIGHT else kind
    start, end, plain = f"<{tag}" + ("" if css == "text" else f' class="{css}"'), f"</{tag[:2]}>", pick_writer(kind)

    def write_cell(value: Any) -> str:
        sort = write_sort_key(kind, take_number(value)) if is_sorted else None
        said = (
            plain(cut_value(value))
            if type(value) in PLAIN and kind != "spark"
            else write_value(kind, cut_value(value), root, top)
        )
        return "".join((start, "" if sort is None else f' data-sort="{escape(sort)}"', ">", said, end))

    return write_cell if kind in UNLIKE else lru_cache(maxsize=CELLS_KEPT // 16, typed=True)(write_cell)


def write_body(table: Table, root: str = "") -> Iterator[str]:
    """The rows that stand on the page."""
    sparks = [i for i, column in enumerate(table.columns) if column.kind == "spark"]
    top = max((v for row in table.rows for i in sparks for v in row[i] if v is not None), default=0.0)
    picked = [i for i, column in enumerate(table.columns) if not column.is_twin_only]
    kinds = [table.columns[i].kind for i in picked]
    if kinds == RECORD_KINDS and not table.is_register:
        return (write_record(*row) for row in table.rows[: table.shown])
    # a cell to write in heads nothing
    tags = ["td" if kinds[:1] == ["blank"] else 'th scope="row"'] + ["td"] * len(picked)
    cells = [(i, make_cell(kind, tag, root, top, table.is_register)) for i, kind, tag in zip(picked, kinds, tags, strict=False)]

    def write_row(row: tuple) -> str:
        return f"<tr>{''.join([write(row[i]) for i, write in cells])}</tr>"

    return (write_line(row, root, write_row) if type(row) is Line else write_row(row) for row in table.rows[: table.shown])


def write_line(line: Line, root: str, write_row: Callable[[tuple], str]) -> str:
    """A row that other pages show too, written once."""
    if line.written is None or line.written[0] != root:
        line.written = root, write_row(line)
    return line.written[1]


@lru_cache(maxsize=CELLS_KEPT)
def write_start(day: date | None, what: str, said: str) -> str:
    """The cells of a record that others share: its day, its kind, what it says."""
    cells = zip(RECORD_KINDS, (day, what, said), strict=False)
    return "".join(make_cell(kind, 'th scope="row"' if kind == "date" else "td", "", 0.0, False)(value) for kind, value in cells)


def write_record(day: date | None, what: str, said: str, where: tuple[str | None, int | None], record_no: int | None) -> str:
    """A row of the longest tables that a site has: as any other, at a fifth of its time."""
    number = words.NONE if record_no is None else record_no
    return f'<tr>{write_start(day, what, said)}<td class="file_line">{write_file_line(where)}</td><td class="code">{number}</td></tr>'
