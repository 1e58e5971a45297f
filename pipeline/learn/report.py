"""What was learnt, for the command line. In: a draft and its dry run. Out: lines of plain text."""

from __future__ import annotations

from pathlib import Path

from pipeline.learn.learn import Draft, Finding
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
        (_clip(finding.header), finding.column or "(none)", "sure" if finding.is_sure else "?", _show_score(finding),
         ", ".join(show(text) for text in finding.examples))
        for finding in draft.findings
    ]  # fmt: skip
    rows.insert(0, ("header", "column", "", "", "examples"))
    widths = [max(len(row[place]) for row in rows) for place in range(4)]
    return ["  ".join([*(row[place].ljust(widths[place]) for place in range(4)), row[4]]).rstrip() for row in rows]


def _show_score(finding: Finding) -> str:
    """How sure, and what of a found column is to be settled all the same."""
    return ", ".join([f"{finding.score:.2f}", *(f"{mark}?" for mark in finding.marks)])


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
    # A check list, or a file for two tables, makes several rows of one record.
    is_one_each = len(draft.plan.feeds) == 1 and not draft.plan.feeds[0].wide
    what = (
        ("record" if trial.read == 1 else "records") + " read"
        if is_one_each
        else f"rows made of {len(draft.plan.sheet.rows) + draft.plan.sheet.broken:,} records"
    )
    lines = [
        head,
        f"         {trial.read:,} {what}: {trial.loaded:,} would load, {trial.waiting:,} would load once their vessel or unit "
        f"is in a register, {quarantined:,} would be put aside, {trial.duplicate:,} are exact duplicates",
    ]
    count = sum(count for _, _, count, _ in trial.reasons)
    lines += [f"         reasons to put aside, {count:,} in all (one record may have several):"] if trial.reasons else []
    for rule, table, count, example in trial.reasons:
        lines.append(f"         {rule} ({table}): {count:,}, e.g. {example}")
    imo = next((c for feed in draft.plan.feeds for c in feed.columns if c.is_constant and c.source.stand_in), None)
    if imo:
        lines.append(
            f"         the vessel is not settled: the made-up number {imo.source.stand_in} was used in this dry run only; "
            "write the vessel's IMO number into the draft"
        )
    if trial.respelled:
        match = "unit number matches" if trial.respelled == 1 else "unit numbers match"
        lines.append(
            f"note     {trial.respelled:,} {match} the register only if spacing/case/leading zeros may differ: "
            "add match = [...] to unit_id"
        )
    return lines
