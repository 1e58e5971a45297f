"""The watch list in sentences. In: rows of figure.watch_model, back_test. Out: text and notes of the Watch list page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dashboards import words
from dashboards.blocks import Note

Row = Any
SIGN = 0.005  # a smaller p, of level or order, says that the model no longer holds
FEW = 10  # condemned units below which no rate is given
# The page's own caution (procedures, manual, flag and class, competent person, welding, pressure tests) stands above it.
CAUTION = (
    "A place on this list is a reason to look at a unit, never a verdict, and a place far down is no sign that a unit is sound: what "
    "nobody looked at or wrote down weighs nothing here."
)
NAMES = {
    "model": "the model",
    "rule": "four plain signs",
    "oldest_first": "oldest first",
    "hard_rules": "hard signs alone",
    "base_rate": "by lot",
}
REMARKS = {
    "chances": "Chance: to be condemned within twelve months if kept aboard, with 95 % limits of what units like it have.",
    "bands": "Three bands instead of chances: so few condemned units carry an order, and no percentage for a unit. A band is a place by the model alone, before hard reasons take the first ones.",
    "rule": "Points: 2 for corrosion at the last service or since, 1 for a pressure test due within 18 months, 1 for each 15 years of age, a half for open deck. A judgement, not a chance.",
}  # fmt: skip


def find_test(tests: Sequence[Row], method: str) -> Row | None:
    """The row of a method over all half-years together."""
    return next((row for row in tests if row.cutoff is None and row.method == method), None)


def say_kind(kind: str) -> str:
    """How the others are ordered."""
    return {
        "chances": "The others follow by their estimated chance to be condemned within twelve months.",
        "bands": "The others follow in three bands, by a model of age, rust grade and pressure test.",
        "rule": "The others follow by four plain signs; no chance is given.",
    }[kind]


def pick_method(kind: str) -> str:
    """The method whose record is that of the list as it stands."""
    return "rule" if kind == "rule" else "model"


def say_record(tests: Sequence[Row], kind: str) -> str:
    """What the first 5 % of such lists held, beside oldest first."""
    mine, oldest = find_test(tests, pick_method(kind)), find_test(tests, "oldest_first")
    if mine is None or oldest is None or mine.top_5 is None or not mine.condemned:
        return "How well such a list does can’t be told yet: no past half-year has both its records and twelve months after it."
    top = f"the first 5{words.THIN}% of past lists ({words.say_number(mine.top_5)} places, hard reasons not put first)"
    found = f"{words.say_number(mine.found_5, 0 if mine.found_5 == int(mine.found_5) else 1)} of {top}"
    if mine.condemned < FEW:
        return f"{words.say_count(mine.condemned, 'unit')} condemned in past half-years are too few to rate the list: {found} were among them."
    limits = f"95{words.THIN}% interval {say_percent(mine.precision_5_low)} to {say_percent(mine.precision_5_high)}"
    return (
        f"Of {top} {say_percent(mine.precision_at_5_pct)} were condemned within twelve months ({limits}); "
        f"of the oldest {say_percent(oldest.precision_at_5_pct)}."
    )


def say_percent(share: float | None) -> str:
    """'24 %'."""
    return words.say_percent(None if share is None else 100 * share, 0)


def say_why(model: Row) -> str:
    """Which of the three lists it is, and why."""
    name = {"chances": "chances of eight traits", "bands": "bands of three traits", "rule": "the rule of four signs"}[model.kind]
    return f"This is the list by {name}: {model.why}."


def tell_gain(tests: Sequence[Row], kind: str) -> Note:
    """Is the list better than oldest first by more than chance?"""
    mine = find_test(tests, pick_method(kind))
    if mine is None or mine.gain_5 is None or mine.condemned < FEW:
        return Note("Too few to tell whether the list is better than oldest first.", "empty")
    low, gain, high = (words.say_number(100 * v, 1) for v in (mine.gain_5_low, mine.gain_5, mine.gain_5_high))
    said = f"{gain} points in the share of its first 5{words.THIN}% condemned within twelve months (95{words.THIN}% interval {low} to {high})"
    if mine.gain_5_low > 0:
        return Note(f"The list was better than oldest first by more than chance: by {said}.")
    if mine.gain_5_high < 0:
        return Note(f"The list was worse than oldest first by more than chance: by {said}.")
    return Note(
        f"No evidence that the list was better or worse than oldest first: a difference of {said}, which leaves room for none."
    )


def tell_scores(tests: Sequence[Row], model: Row) -> tuple[Note, ...]:
    """Whether the model's chances held, and whether the plain rule did as well."""
    mine, rule = find_test(tests, "model"), find_test(tests, "rule")
    if mine is None or mine.expected is None or mine.condemned < FEW:
        return (Note("Whether chances would have held can’t be told: too few condemned units in past half-years.", "empty"),)
    slope = "" if mine.calibration_slope is None else (
        f" The slope of outcomes on the odds given is {words.say_number(mine.calibration_slope, 2)}: 1 is right, less is too sure, more too shy."
    )  # fmt: skip
    skill = "" if mine.brier_skill is None else (
        f" Brier score {words.say_number(mine.brier, 4)}, {words.say_number(100 * mine.brier_skill, 1)}{words.THIN}% better than one chance for all."
    )  # fmt: skip
    notes = [Note(
        f"In past half-years the model expected {words.say_number(mine.expected, 1)} condemned units; {words.say_number(mine.condemned)} were seen, "
        f"each counted at every half-year that looked ahead to it, and units that left for another reason in part.{slope}{skill}"
    )]  # fmt: skip
    if model.kind != "rule" and rule is not None and rule.found_5 is not None and rule.found_5 >= mine.found_5 - 1e-9:
        better = "better" if rule.found_5 > mine.found_5 + 1e-9 else "as well"
        notes.append(Note(
            f"In the first 5{words.THIN}% the four plain signs did {better}: {words.say_number(rule.found_5, 1)} condemned, "
            f"the model {words.say_number(mine.found_5, 1)}."
        ))  # fmt: skip
    return tuple(notes)


def tell_check(model: Row) -> Note:
    """Does the model still hold in the last year that is over, in level and in order?"""
    if model.kind == "rule":
        return Note("No model is in use, so there is none that could cease to hold.", "empty")
    if model.checked_on is None:
        return Note("No model was in use twelve months ago, so whether it still holds can’t be checked yet.", "empty")
    said = (
        f"of the units in service on {words.say_date(model.checked_on)} it expected {words.say_number(model.checked_expected, 1)} to be "
        f"condemned within twelve months, and {words.say_number(model.checked_seen)} were"
    )
    is_off = model.checked_p < SIGN
    if model.checked_order_p is not None and model.checked_order_p < SIGN:
        order = "those condemned stood elsewhere in its order than its chances allow"
        return Note(
            f"Caution: The model no longer holds by more than chance: {said}{', and ' if is_off else '; '}{order}. Take neither its order nor its chances."
        )
    if is_off:
        return Note(
            f"Caution: The model no longer holds by more than chance: {said}. Take its order with care, and its chances not at all."
        )
    return Note(
        f"Nothing speaks against the model in the last year that is over: {said}, and they stood in its order as its chances allow. "
        "A small change would not be seen."
    )


def say_base(model: Row) -> str:
    """How many are condemned anyway, and how many leave for another reason."""
    if model.condemned_share is None:
        return "No past half-year has twelve months on record after it."
    return (
        f"Of units in service in past half-years {words.say_percent(100 * model.condemned_share)} were condemned within twelve months and "
        f"{words.say_percent(100 * model.left_share)} left for another reason first (Aalen and Johansen). Learned from "
        f"{words.say_count(model.units, 'unit')} of {words.say_count(model.vessels, 'vessel')}, "
        f"{words.say_number(model.events)} of them condemned."
    )
