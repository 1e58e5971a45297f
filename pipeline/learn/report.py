"""What was learnt, for the command line. In: a draft and its dry run. Out: lines of plain text."""

from __future__ import annotations

from pathlib import Path

from pipeline.learn.learn import Draft
from pipeline.learn.trial import Trial
from pipeline.learn.write import clean_comment, show

WIDEST = 28
MOST_SHOWN = 40


def report_lines(draft: Draft, trial: Trial, target: Path) -> list[str]:
    """Headers, words, what is open, and what a run would do with the rows."""
    lines = [f"written  {target}", *_layout_lines(draft), "", *_header_lines(draft), ""]
    lines += [*_word_lines(draft), *_unsettled_lines(draft), "", *_trial_lines(draft, trial)]
    return [clean_comment(line) for line in lines]


def _layout_lines(draft: Draft) -> list[str]:
    sheet = draft.plan.sheet
    tables = ", ".join(f"{feed.table.text}{'' if feed.table.is_sure else '?'}" for feed in draft.plan.feeds)
    lines = [
        f"file     {sheet.encoding.name}{'' if sheet.encoding.is_sure else '?'}, delimiter {show(sheet.layout.delimiter)}, "
        f"header on line {sheet.layout.skip_head + 1}, {len(sheet.rows):,} records",
        f"tables   {tables}",
    ]
    return lines + [f"note     {note}" for note in draft.plan.notes]


def _header_lines(draft: Draft) -> list[str]:
    rows = [
        (_clip(finding.header), finding.column or "(none)", "sure" if finding.is_sure else "?", f"{finding.score:.2f}",
         ", ".join(show(text) for text in finding.examples))
        for finding in draft.findings
    ]  # fmt: skip
    rows.insert(0, ("header", "column", "", "", "examples"))
    widths = [max(len(row[place]) for row in rows) for place in range(4)]
    return ["  ".join([*(row[place].ljust(widths[place]) for place in range(4)), row[4]]).rstrip() for row in rows]


def _clip(text: str) -> str:
    return text if len(text) <= WIDEST else text[: WIDEST - 1] + "…"


def _word_lines(draft: Draft) -> list[str]:
    lines = []
    for feed in draft.plan.feeds:
        for column in feed.columns:
            if column.words:
                shown = ", ".join(f"{show(w.word)} {'=' if w.is_sure else '=?'} {w.target or '?'}" for w in column.words[:12])
                more = f" and {len(column.words) - 12} more" if len(column.words) > 12 else ""
                lines.append(f"words    {feed.table.text}.{column.name}: {shown}{more}")
    return lines


def _unsettled_lines(draft: Draft) -> list[str]:
    if not draft.unsettled:
        return ["settled  nothing is marked; read the draft through, delete the line `draft`, and run 'firekpi check'"]
    count = len(draft.unsettled)
    shown = [*draft.unsettled[:MOST_SHOWN], *([f"... and {count - MOST_SHOWN:,} more"] if count > MOST_SHOWN else [])]
    said = "is 1 place" if count == 1 else f"are {count} places"
    return [f'open     there {said} marked "?" in the draft; until settled, run and check refuse it:'] + [
        f"         {place}" for place in shown
    ]


def _trial_lines(draft: Draft, trial: Trial) -> list[str]:
    head = 'dry run with every "?" taken as proposed:' if draft.unsettled else "dry run:"
    if trial.stopped:
        return [head, f"         it stopped: {trial.stopped}"]
    quarantined = trial.read - trial.loaded - trial.duplicate - trial.waiting
    lines = [
        head,
        f"         {trial.read:,} rows read: {trial.loaded:,} would load, {trial.waiting:,} wait only for a register (unknown vessel "
        f"or unit), {quarantined:,} would be put aside, {trial.duplicate:,} are exact duplicates",
    ]
    for rule, table, count, example in trial.reasons:
        lines.append(f"         {rule} ({table}): {count:,}, e.g. {example}")
    imo = next((c for feed in draft.plan.feeds for c in feed.columns if c.is_constant and c.source.stand_in), None)
    if imo:
        lines.append(f"         the vessel is not settled: {imo.source.stand_in} stood in for its IMO number")
    return lines
