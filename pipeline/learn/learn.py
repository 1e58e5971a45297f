"""START HERE: a dialect drafted from files of an unseen source. In: files. Out: a `Draft`, and lines to print.

bytes -> encoding -> sheet -> profiles of columns -> scores -> tables and columns -> words, marks, dates -> TOML -> dry run
"""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from pathlib import Path

from pipeline import contract
from pipeline.errors import UserError
from pipeline.learn.encoding import EncodingGuess, guess_encoding
from pipeline.learn.make_plan import make_plan
from pipeline.learn.plan import ColumnPlan, Plan
from pipeline.learn.sheet import read_sheet
from pipeline.learn.sources import clip, glob_files, name_source, read_sources
from pipeline.learn.unsettled import list_unsettled
from pipeline.learn.write import write_plan


@dataclass(frozen=True)
class Finding:
    """What is proposed for one header: a column ('table.column', '' for none), how sure, examples, what speaks for it.

    `marks` are what else of it is marked "?": unit, words, formats.
    """

    header: str
    column: str
    score: float
    is_sure: bool
    examples: tuple[str, ...]
    why: str
    marks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Draft:
    """`text` is the draft with its "?"; `trial_text` the same with every "?" taken as proposed, for a dry run."""

    name: str
    text: str
    trial_text: str
    plan: Plan
    findings: tuple[Finding, ...]
    unsettled: tuple[str, ...]


def learn_dialect(paths: list[Path], name: str | None = None, folder: Path | None = None) -> Draft:
    """Draft the dialect of files of one kind. `folder` is the folder of exports in which it will lie.

    Raises UserError unreadable-file, no-data-in-file, not-csv, no-columns, unlike-files, nothing-learned.
    """
    files = read_sources(paths)
    sheet = read_sheet(files, _one_encoding(files))
    shown = name or name_source(paths[0])
    about = f"Drafted from {', '.join(clip(path.name) for path in paths[:3])}" + (" and others" if len(paths) > 3 else "")
    plan = make_plan(sheet, shown, about, glob_files(paths, folder), [path.name for path in paths])
    if plan is None:
        raise UserError("nothing-learned", path=paths[0], headers=", ".join(map(repr, sheet.headers[:12])))
    text = write_plan(plan)
    return Draft(
        name=shown,
        text=text,
        trial_text=write_plan(plan, is_draft=False),
        plan=plan,
        findings=tuple(_list_findings(plan)),
        unsettled=tuple(list_unsettled(tomllib.loads(text))),
    )


def _one_encoding(files: list[tuple[Path, bytes]]) -> EncodingGuess:
    """One encoding for all files: together they give more words to judge by. Raises UserError not-csv."""
    is_wide = any(data.startswith((b"\xff\xfe", b"\xfe\xff")) or b"\0" in data[:1000] for _, data in files)
    together = files[0][1] if is_wide else b"\n".join(data for _, data in files)
    guess = guess_encoding(together)
    if guess is None:
        raise UserError("not-csv", path=files[0][0], why="it is no text in any encoding that is tried")
    return guess


def _list_findings(plan: Plan):
    for feed in plan.feeds:
        for column in feed.columns:
            if column.source.text is not None and not column.is_constant:
                name = f"{feed.table.text}.{column.name}"
                yield Finding(
                    column.source.text,
                    name,
                    column.score,
                    column.source.is_sure,
                    column.examples,
                    column.why,
                    _list_marks(column, feed.table.text, plan),
                )
        for header, part in feed.wide.headers if feed.wide else ():
            yield Finding(header, f"{feed.table.text}, part {part.text}", 1.0, part.is_sure, (), "a column of a check list")
    for item in plan.ignored:
        yield Finding(item.header.text or "", "", 0.0, item.header.is_sure, item.examples, item.why)


def _list_marks(column: ColumnPlan, table: str, plan: Plan) -> tuple[str, ...]:
    """What of a column is to be settled beside its header."""
    is_dated = contract.tables()[table].column(column.name).type == "date"
    # A date without forms of its own is read by those of the whole file.
    forms = column.formats or (plan.date_formats if is_dated else ())
    is_open = {
        "unit": column.unit is not None and not column.unit.is_sure,
        "words": any(not word.is_sure for word in column.words),
        "formats": any(not form.is_sure for form in forms),
    }
    return tuple(name for name, is_marked in is_open.items() if is_marked)
