"""Is a difference real, and what do looks see? In: figure.corrosion_model. Out: sentences with their verdict, and a table of ratios."""

from __future__ import annotations

from dashboards import words
from dashboards.blocks import Note, Table, name_columns
from dashboards.pages.corrosion_curves import CORRECTED, RECORDED, Row, pick

TRAITS = {"open_deck": "open deck", "machinery": "machinery spaces", "lined": "lined", "co2": "CO2"}
CAUTION = "A pattern in these records, not a cause, and no word on any one unit: that is for a competent person to judge."


def find_term(models: list[Row], method: str, term: str) -> Row | None:
    """A number of the whole fleet's model."""
    return next((r for r in pick(models, method) if r.term == term), None)


def tell_deck(models: list[Row]) -> Note:
    """Does open deck corrode earlier? The ratio with its limits, and the verdict in words."""
    row = find_term(models, RECORDED, "open_deck")
    if row is None or row.estimate is None:
        why = f" ({row.why_not})" if row is not None and row.why_not else ""
        return Note(f"Whether corrosion begins earlier on open deck can’t be told from these records{why}.", "empty")
    ratio, low, high = (words.say_number(v, 2) for v in (row.estimate, row.low, row.high))
    limits = f"at {ratio} times the age elsewhere (95 % interval {low} to {high})"
    if row.high < 1:
        return Note(f"On open deck corrosion begins earlier than elsewhere, by more than chance: {limits}. {CAUTION}")
    if row.low > 1:
        return Note(f"On open deck corrosion begins later than elsewhere, by more than chance: {limits}. {CAUTION}")
    return Note(
        f"No evidence that corrosion begins earlier or later on open deck: {limits}, which leaves room for none. {CAUTION}"
    )


def tell_looks(models: list[Row]) -> Note:
    """What looks see, where the records tell."""
    terms = [find_term(models, CORRECTED, term) for term in ("sensitivity", "sensitivity_5_years", "specificity")]
    if any(row is None or row.low is None for row in terms):
        return Note(
            "How much corrosion services miss can’t be told from these records: most units need three services or more.", "empty"
        )
    new, old, passes = terms
    false = [words.say_percent(100 * (1 - v), 1) for v in (passes.estimate, passes.high, passes.low)]
    return Note(
        f"By these records a service reports {say_part(new)} of the corrosion that has just begun and {say_part(old)} of what began five "
        f"years before, and reports corrosion on {false[0]} ({false[1]} to {false[2]}) of sound units. The corrected curve allows for both."
    )


def say_part(row: Row) -> str:
    """'57 % (40 to 74)' of a share that is no percentage yet."""
    value, low, high = (words.say_number(100 * v) for v in (row.estimate, row.low, row.high))
    return f"{value}{words.THIN}% ({low} to {high})"


def list_ratios(models: list[Row]) -> Table:
    """What goes with an earlier or later onset, all traits held against each other."""
    columns = name_columns(
        "trait=Units; ratio=Age at onset against all others (95 % interval):page_number; ratio=:number twin; low=:number twin; high=:number twin; why_not=Why not"
    )
    rows = []
    for term, name in TRAITS.items():
        row = find_term(models, RECORDED, term)
        if row is not None:
            said = (
                words.NONE
                if row.estimate is None
                else f"{words.say_number(row.estimate, 2)} ({words.say_number(row.low, 2)} to {words.say_number(row.high, 2)})"
            )
            rows.append((name, said, row.estimate, row.low, row.high, row.why_not or ""))
    return Table("ratios", "Ratio of ages at onset: below 1 is earlier; all held against each other", columns, tuple(rows))
