"""What a rule asks less than the one whose place it takes: every key, both ways. What is laxer is worked out by hand, no source.

Each case changes one rule into another: keys put in, or taken out (None). 'said' is what the change asks less, 'back' what the way
back asks less; None: nothing.
"""

from __future__ import annotations

import pytest

from pipeline.duties.loosening import say_less
from pipeline.duties.rule_book import read_rule_book
from pipeline.duties.rule_keys import UNIT_SCOPE, keys_of, schema

RULES = {
    "duty": {
        "duty": "annual_service", "counts": "unit", "interval_months": 12, "first_basis": "made_on", "in_any": True,
        "satisfied_by": [{"record": "service", "kind": "annual_service"}],
    },
    "limit": {"verdict": "unfit", "measure": "charge_lost_pct", "breach": "above", "limit_value": 10, "unit": "pct"},
    "ground": {"verdict": "unfit", "record": "finding"},
    "placement": {"breach": "unsuitable"},
    "number": {"measure": "spare_charges", "first": 10, "share": 0.5, "cap": 60, "by": "agent"},
}  # fmt: skip
INSPECTION = {"record": "inspection"}
PLAN = {"anchor": "due", "window_before_months": 3}
FINDING = {"record": "finding", "component": "gauge"}
WALL = {"measure": "wall_mm_measured", "breach": "below", "unit": "mm"}
FIVE = {"measure": "portable_units", "least": 5, "first": None, "share": None, "cap": None, "by": None}

CASES = [  # kind, what the old one has, what the new one has, said, back
    ("duty", {}, {"duty": "onboard_check"}, "asks for onboard check instead of annual service", "asks for annual service instead of onboard check"),
    ("duty", {}, {"counts": "group", "first_basis": "earliest_made_on"}, "one of a group instead of every unit", None),
    ("duty", {"counts": "group", "first_basis": "earliest_made_on"}, {"counts": "unit", "first_basis": "service_start"},
        "runs from service start instead of earliest made on", "one of a group instead of every unit"),
    ("duty", {}, {"interval_months": 13}, "interval of 13 months instead of 12", None),
    ("duty", {"interval_months": 0}, {"interval_months": 1}, "interval of 1 month instead of 0", None),
    ("duty", {}, {"grace_months": 1}, "grace of 1 month instead of 0", None),
    ("duty", {"grace_months": 1}, {"grace_months": 2}, "grace of 2 months instead of 1", None),
    # From the day due, work done early gains days (the window), work done late loses them; from the day done, late work gains them.
    ("duty", {}, {"anchor": "due"}, "work counts for the plan any number of months early instead of 0", "dates run from the day done instead of the day due"),
    ("duty", {}, PLAN, "work counts for the plan 3 months early instead of 0", "dates run from the day done instead of the day due"),
    ("duty", {}, {"anchor": "due", "window_before_months": 0}, None, "dates run from the day done instead of the day due"),
    ("duty", {}, {"anchor": "done"}, None, None),
    ("duty", PLAN, {"window_before_months": 4}, "work counts for the plan 4 months early instead of 3", None),
    ("duty", PLAN, {"window_before_months": None}, "work counts for the plan any number of months early instead of 3", None),
    # A unit goes into service after it was made; the date of its cartridge may lie on either side.
    ("duty", {}, {"first_basis": "service_start"}, "runs from service start instead of made on", None),
    ("duty", {}, {"first_basis": "cartridge_made_on"}, "runs from cartridge made on instead of made on", "runs from made on instead of cartridge made on"),
    ("duty", {}, {"first_basis": "none", "triggered_by": [FINDING]}, "runs from a finding instead of made on", "runs from made on instead of a finding, fewer findings call for it"),
    ("duty", {}, {"satisfied_by": [INSPECTION]}, "more kinds of record satisfy it", "more kinds of record satisfy it"),
    ("duty", {}, {"satisfied_by": [{"record": "service"}]}, "more kinds of record satisfy it", None),
    ("duty", {"triggered_by": [FINDING]}, {"triggered_by": [{**FINDING, "defect": "missing"}]}, "fewer findings call for it", None),
    ("duty", {}, {"in_any": False}, "makes no unit overdue on any duty", None),
    ("limit", {}, {"verdict": "doubt"}, "means doubt instead of unfit", None),
    ("limit", {}, {"verdict": "placement"}, "means placement instead of unfit", None),
    ("limit", {}, {"verdict": "condemn"}, None, "means unfit instead of condemn"),
    ("limit", {}, {"measure": "charge_off_pct", "limit_value": 5}, "measures charge off pct instead of charge lost pct", "measures charge lost pct instead of charge off pct"),
    ("limit", {}, {"breach": "below"}, "broken below the limit instead of above", "broken above the limit instead of below"),
    ("limit", {}, {"limit_value": 10.5}, "limit 10.5 instead of 10 pct", None),
    ("limit", WALL, {"limit_value": 9.5}, "limit 9.5 instead of 10 mm", None),
    ("limit", WALL, {"limit_value": None, "limit_from": "wall_min_mm"}, "limit the register's wall min mm instead of 10 mm", "limit 10 mm instead of the register's wall min mm"),
    ("limit", {**WALL, "limit_value": None, "limit_from": "wall_min_mm"}, {"limit_from": "wall_mm"},
        "limit the register's wall mm instead of the register's wall min mm", "limit the register's wall min mm instead of the register's wall mm"),
    ("limit", {**WALL, "limit_value": None, "limit_from": "wall_min_mm", "verdict": "condemn"}, {"verdict": "doubt"}, "means doubt instead of condemn", None),
    ("limit", {"reading": "worst"}, {"reading": "last"}, "judged by the last reading instead of the worst", None),
    ("limit", {"reading": "worst"}, {"reading": None}, "judged by the last reading instead of the worst", None),
    ("limit", {"stands_when_closed": True}, {"stands_when_closed": None}, "counts no more once the finding is closed", None),
    ("limit", {"stands_when_closed": True}, {"stands_when_closed": False}, "counts no more once the finding is closed", None),
    ("limit", {"stands_when_closed": False}, {"stands_when_closed": None}, None, None),
    ("limit", {}, {"cured_by": ["recharge"]}, "also cured by recharge", None),
    ("limit", {"cured_by": ["recharge"]}, {"cured_by": ["recharge", "pressure_test", "repair"]}, "also cured by pressure test or repair", None),
    ("ground", {}, {"verdict": "doubt"}, "means doubt instead of unfit", None),
    ("ground", {}, {"record": "service"}, "looks at service instead of finding", "looks at finding instead of service"),
    ("ground", {}, {"components": ["shell"]}, "only components shell", None),
    ("ground", {"components": ["shell", "hose"]}, {"components": ["shell", "pin"]}, "leaves out components hose", "leaves out components pin"),
    ("ground", {"defects": ["leak", "crack"]}, {"defects": ["leak"]}, "leaves out defects crack", None),
    ("ground", {}, {"severities": ["major"]}, "only severities major", None),
    ("ground", {"record": "service"}, {"kinds": ["pressure_test"]}, "only kinds pressure test", None),
    ("ground", {"outcomes": ["failed", "condemned"]}, {"outcomes": ["condemned"]}, "leaves out outcomes failed", None),
    ("ground", {"tested_parts": ["shell", "both"]}, {"tested_parts": ["shell"]}, "leaves out tested parts both", None),
    ("ground", {}, {"words": ["bulg"]}, "only words bulg", None),
    ("ground", {"words": ["bulg", "swollen"]}, {"words": ["Bulging"]}, "leaves out words bulg or swollen", None),
    ("ground", {}, {"without_words": ["no bulg"]}, "not where the text holds no bulg", None),
    ("ground", {"without_words": ["no bulg"]}, {"without_words": ["no bulging"]}, None, "not where the text holds no bulg"),
    ("ground", {"stands_when_closed": True}, {"stands_when_closed": None}, "no reason any more once the finding is closed", None),
    ("ground", {}, {"cured_by": ["repair"]}, "also cured by repair", None),
    ("placement", {}, {"breach": "doubtful"}, "doubtful instead of unsuitable", None),
    ("placement", {"breach": "colour", "colour_zone_expected": "red"}, {"colour_zone_expected": "blue"}, "expects blue instead of red", "expects red instead of blue"),
    ("number", {}, {"measure": "spare_units"}, "counts spare units instead of spare charges", "counts spare charges instead of spare units"),
    ("number", {}, {"first": 9}, "first 9 instead of 10", None),
    ("number", {}, {"share": 0.25}, "share 0.25 instead of 0.5", None),
    ("number", {}, {"cap": 59}, "never more than 59", None),
    ("number", {"cap": None}, {"cap": 60}, "never more than 60", None),
    ("number", {}, {"by": "vessel"}, "counted by vessel instead of agent", None),
    ("number", {}, {"by": "agent_and_size"}, None, "counted by agent instead of agent and size"),
    ("number", FIVE, {"least": 4}, "least 4 instead of 5", None),
    # A rule on numbers gives way on the whole vessel, whatever units the new one is asked of.
    ("number", {}, {"agents": ["co2"]}, "only agents co2", None),
    ("number", {"agents": ["co2", "powder"]}, {"agents": ["co2"]}, "leaves out agents powder", None),
    ("number", {}, {"forms": ["portable"], "space_categories": ["galley"]}, "only forms portable, only space categories galley", None),
    # Five portable units of one kind of space is more than five of two.
    ("number", FIVE, {"space_categories": ["galley"]}, None, "counts any space categories"),
    ("number", {**FIVE, "forms": ["portable"]}, {"forms": ["portable", "wheeled"]}, "also counts forms wheeled", None),
    ("number", {}, {"gross_tonnage_from": 5000}, None, None),  # the others keep the old rule
]  # fmt: skip


def change(rule: dict, keys: dict) -> dict:
    return {key: value for key, value in (rule | keys).items() if value is not None}


@pytest.mark.parametrize("kind, old, new, said, back", CASES, ids=range(len(CASES)))
def test_what_asks_less_is_said_both_ways(kind, old, new, said, back):
    before = change({"kind": kind} | RULES[kind], old)
    after = change(before, new)
    assert (say_less(after, before), say_less(before, after)) == (said, back)
    assert say_less(before, before) is None and say_less(after, after) is None


def test_several_are_said_together():
    old = {"kind": "duty"} | RULES["duty"]
    assert say_less(old | {"interval_months": 24, "grace_months": 2, "in_any": False}, old) == (
        "interval of 24 months instead of 12, grace of 2 months instead of 0, makes no unit overdue on any duty"
    )


@pytest.mark.parametrize("kind", RULES)
def test_no_key_is_without_a_direction_or_a_case(kind):
    assert all("less" in spec for spec in schema()[kind].values())
    changed = {key for case in CASES if case[0] == kind for key in case[2]}
    assert set(schema()[kind]) - {"unit"} <= changed
    assert kind != "number" or set(UNIT_SCOPE) <= changed and set(UNIT_SCOPE) <= set(keys_of("number"))


@pytest.mark.parametrize("kind", RULES)
def test_words_are_ranked_among_those_that_the_rule_file_takes(kind):
    for key, spec in schema()[kind].items():
        ranked = [word for words in spec.get("weakest_first", ()) for word in (words if isinstance(words, list) else [words])]
        assert set(ranked) <= set(spec.get("choices", [False, True])), key
        assert len(set(ranked)) == len(ranked), key


def test_a_shipped_rule_of_equal_strength_is_not_called_less():
    """ISO 18119's limits by depth take the place of the baseline's, which are the same (its file says so)."""
    book = read_rule_book()
    for name in ("iso-general-corrosion", "iso-isolated-pit"):
        rule = book.find(name)
        assert rule["replaces"] and all(say_less(rule, book.find(other)) is None for other in rule["replaces"])
