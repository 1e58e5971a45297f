"""A plan as the text of a dialect. In: a `Plan`. Out: TOML, with "?" before what is unsure, or as a dry run takes it.

Headers and cells are anybody's text: in strings they are escaped as TOML asks, in comments too, so that none ends its line.
"""

from __future__ import annotations

import re

from pipeline.learn.plan import Choice, ColumnPlan, FeedPlan, IgnoredPlan, Plan, WidePlan, WordPlan

LONGEST_SHOWN = 40
SHORT = {"\b": "\\b", "\t": "\\t", "\n": "\\n", "\f": "\\f", "\r": "\\r", '"': '\\"', "\\": "\\\\"}
HEAD = """\
# Drafted by `firekpi learn`. Each line says how sure it is (0 to 1) and shows examples.
# What begins with "?" is not settled: take the "?" away where the proposal is right, else write what is; a lone "?" asks.
# A word's line may also be deleted: records with that word are then put aside when read.
# `firekpi run` and `firekpi check` refuse this file until no "?" is left; then delete the line `draft`.
"""


class Writer:
    """Writes one plan. `is_draft` False resolves every "?" as proposed and leaves out what has no proposal."""

    def __init__(self, is_draft: bool) -> None:
        self.is_draft = is_draft
        self.lines: list[str] = []

    def choose(self, choice: Choice) -> str | None:
        """The text of a choice as it is to be written; None where a dry run must do without."""
        if self.is_draft:
            return ("" if choice.is_sure else "?") + (choice.text or "")
        return choice.text if choice.text is not None else choice.stand_in

    def put(self, key: str, value: str, *comments: str) -> None:
        said = "; ".join(comment for comment in comments if comment)
        self.lines.append(f"{key} = {value}" + (f"  # {clean_comment(said)}" if said and self.is_draft else ""))

    def comment(self, text: str) -> None:
        if self.is_draft:
            self.lines.append(f"# {clean_comment(text)}")


def quote(text: str) -> str:
    """A TOML basic string."""
    return '"' + "".join(SHORT.get(char) or (char if _is_plain(char) else _escape(char)) for char in text) + '"'


def _is_plain(char: str) -> bool:
    return char == " " or char.isprintable()


def _escape(char: str) -> str:
    return f"\\u{ord(char):04X}" if ord(char) < 0x10000 else f"\\U{ord(char):08X}"


def clean_comment(text: str) -> str:
    """Text that can't leave its comment: no line end, no control sign."""
    return "".join(char if _is_plain(char) else " " for char in text)


def show(text: str) -> str:
    """A cell or header as an example: short, on one line, in quotation marks."""
    return quote(text if len(text) <= LONGEST_SHOWN else text[: LONGEST_SHOWN - 1] + "…")


def quote_list(texts: list[str]) -> str:
    return "[" + ", ".join(map(quote, texts)) + "]"


def write_plan(plan: Plan, is_draft: bool = True) -> str:
    """The text of the dialect."""
    writer = Writer(is_draft)
    if is_draft:
        writer.lines += [HEAD, "draft = true"]
    writer.put("name", quote(plan.name))
    writer.put("about", quote(plan.about))
    writer.put("files", quote_list(list(plan.files)))
    _write_layout(writer, plan)
    _write_marks(writer, plan)
    for feed in plan.feeds:
        _write_feed(writer, feed)
    for note in (*plan.notes, *_note_own_marks(plan)):
        writer.comment(f"Note: {note}")
    return "\n".join(writer.lines) + "\n"


def _note_own_marks(plan: Plan) -> tuple[str, ...]:
    """A source may itself begin a header or word with "?"; only without the line `draft` does that mean nothing."""
    words = [word.word for feed in plan.feeds for column in feed.columns for word in column.words]
    own = [text for text in (*plan.sheet.headers, *words) if text.startswith("?")]
    return (f"the source itself writes {', '.join(map(show, own[:3]))}: once all else is settled, delete `draft`",) if own else ()


def _write_layout(writer: Writer, plan: Plan) -> None:
    encoding, layout = plan.sheet.encoding, plan.sheet.layout
    writer.put("encoding", quote(writer.choose(Choice(encoding.name, encoding.is_sure)) or ""), encoding.why)
    writer.put("delimiter", quote(layout.delimiter), f"{layout.width} columns, fit {layout.fit:.2f}")
    if layout.skip_head:
        shown = ", ".join(show(line) for line in dict.fromkeys(plan.sheet.head_lines) if line)
        writer.put("skip_head", str(layout.skip_head), f"above the header: {shown}")
    if layout.skip_foot:
        is_asked = writer.is_draft and not layout.is_foot_sure
        writer.put(
            '"?skip_foot"' if is_asked else "skip_foot",
            str(layout.skip_foot),
            "these last lines look like a note or a signature below the table"
            if layout.is_foot_sure
            else "these last lines look unlike the records: are they no records, to be left out?",
        )
    if plan.sheet.repeated_headers:
        writer.put("repeated_header", "true", f"the header row comes again {plan.sheet.repeated_headers} times")
    if plan.sheet.totals:
        by_kind: dict[tuple[str, str], list[str]] = {}
        for mark in plan.sheet.totals:
            by_kind.setdefault((mark.column, "begins" if mark.is_beginning else "is"), []).append(mark.text)
        items = [f"{{ column = {quote(column)}, {kind} = {quote_list(words)} }}" for (column, kind), words in by_kind.items()]
        writer.put("total_rows", f"[{', '.join(items)}]", "records of sums or units, skipped and counted")


def _write_marks(writer: Writer, plan: Plan) -> None:
    mark = writer.choose(plan.decimal_mark)
    if mark != ".":
        writer.put("decimal_mark", quote(mark or "."), plan.marks_why)
    if plan.thousands_mark.text:
        writer.put("thousands_mark", quote(writer.choose(plan.thousands_mark) or ""), plan.thousands_why)
    if plan.date_formats:
        writer.put("date_formats", _write_forms(writer, plan.date_formats), plan.dates_why)
    if plan.null_words:
        words = [writer.choose(word) or "" for word, _ in plan.null_words]
        shown = ", ".join(f"{show(word.text or '')} in {count:,} cells" for word, count in plan.null_words)
        writer.put("null_words", quote_list(words), f"cells that seem to mean empty, in every column: {shown}")
    if plan.months:
        writer.put("months", f"{{ {', '.join(f'{quote(name)} = {number}' for name, number in plan.months)} }}", "months by name")
    if plan.ignored:
        _write_ignored(writer, plan.ignored)


def _write_ignored(writer: Writer, ignored: tuple[IgnoredPlan, ...]) -> None:
    """The headers that no column takes, with what stands under them: it may be wanted after all."""
    if any(not item.header.is_sure for item in ignored):
        writer.comment(
            'Headers without a column. To take the "?" away means that the column is NOT read; to read it, take it out'
        )
        writer.comment("of this list and write it under [table.columns].")
    for item in ignored:
        shown = ", ".join(map(show, item.examples)) or "no cell is filled"
        writer.comment(f"  {show(item.header.text or '')}: {shown} ({item.why})")
    writer.put("ignore_columns", quote_list([writer.choose(item.header) or "" for item in ignored]))


def _write_forms(writer: Writer, forms: tuple[Choice, ...]) -> str:
    return quote_list([text for form in forms if (text := writer.choose(form)) is not None])


def _write_feed(writer: Writer, feed: FeedPlan) -> None:
    writer.lines += ["", "[[table]]"]
    writer.put(
        "name", quote(writer.choose(feed.table) or ""), "" if feed.table.is_sure else "the headers don't tell the table for sure"
    )
    if feed.when:
        header, words = feed.when
        listed = quote_list([writer.choose(word) or "" for word in words])
        writer.put("when", f"{{ column = {quote(header)}, is = {listed} }}", "records of this table")
    plain = [column for column in feed.columns if not _has_section(column)]
    writer.lines += ["", "[table.columns]"]
    for column in plain:
        if (text := writer.choose(column.source)) is not None:
            key = "constant" if column.is_constant else ""
            writer.put(column.name, f"{{ {key} = {quote(text)} }}" if key else quote(text), *_describe(column))
    for column in feed.columns:
        if _has_section(column):
            _write_section(writer, column)
    if feed.wide:
        _write_wide(writer, feed.wide)


def _has_section(column: ColumnPlan) -> bool:
    return bool(column.words or column.unit or column.formats or column.precision_into or column.suffixes)


def _describe(column: ColumnPlan) -> tuple[str, ...]:
    shown = f"e.g. {', '.join(map(show, column.examples))}" if column.examples else ""
    return (f"{column.score:.2f} {column.why}".strip(), shown, *column.notes)


def _write_section(writer: Writer, column: ColumnPlan) -> None:
    writer.lines += ["", f"[table.columns.{column.name}]"]
    writer.put("from", quote(writer.choose(column.source) or ""), *_describe(column))
    if column.unit:
        writer.put(
            "unit", quote(writer.choose(column.unit) or ""), "" if column.unit.is_sure else "not stated: confirm or correct"
        )
    if column.suffixes:
        pairs = ", ".join(f"{quote(suffix)} = {quote(unit)}" for suffix, unit in column.suffixes)
        writer.put("suffixes", f"{{ {pairs} }}", "units that the cells carry")
    forms = _write_forms(writer, column.formats)
    if forms != "[]":
        writer.put("formats", forms)
    if column.precision_into:
        writer.put("precision_into", quote(column.precision_into))
    words = [word for word in column.words if writer.is_draft or word.target is not None]
    if words:
        writer.lines += [f"[table.columns.{column.name}.words]"]
    for word in words:
        target = writer.choose(Choice(word.target, word.is_sure)) or ""
        writer.put(quote(word.word), quote(target), _describe_word(word))


def _describe_word(word: WordPlan) -> str:
    return f"{word.score:.2f}, {word.count:,} {'cell' if word.count == 1 else 'cells'}"


def _write_wide(writer: Writer, wide: WidePlan) -> None:
    writer.lines += ["", "[table.wide]"]
    writer.put("into", quote("component"))
    pairs = ", ".join(f"{quote(header)} = {quote(writer.choose(part) or '')}" for header, part in wide.headers)
    writer.put("columns", f"{{ {pairs} }}")
    writer.put(
        "none_words",
        quote_list([writer.choose(word) or "" for word in wide.none_words]),
        "cells that mean that nothing was found",
    )
    writer.lines += ["", "[table.wide.cells]"]
    cells = [cell for cell in wide.cells if writer.is_draft or cell.target is not None]
    for cell in cells:
        target = writer.choose(Choice(cell.target, cell.is_sure)) or ""
        writer.put(
            quote(cell.word),
            f"{{ {', '.join([f'defect = {quote(target)}', *_write_grade(writer, cell)])} }}",
            _describe_word(cell),
        )
    if not cells:
        # A dialect needs at least one; this one says what it would mean if the list ever said so in English.
        writer.put('"defect"', '{ defect = "other" }', "no cell names a defect yet")


def _write_grade(writer: Writer, cell: WordPlan) -> list[str]:
    """A digit behind a word of rust reads as its grade, to be confirmed."""
    digit = re.fullmatch(r".*\D([0-5])", cell.word)
    if cell.target != "corrosion" or not digit:
        return []
    return [f"rust_grade = {quote(('?' if writer.is_draft else '') + 'Ri' + digit[1])}"]
