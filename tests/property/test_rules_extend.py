"""A rule added to the rule book is carried through spans and figures without further code."""

from __future__ import annotations

from importlib.resources import files

import pytest

from pipeline.cli import main
from pipeline.duties.rule_book import read_rule_book
from pipeline.duties.rule_schema import read_regime
from pipeline.errors import UserError
from tests.conftest import VESSEL_A

HEAD = 'regime = "Company"\nlayer = "company"\nbreach_label = "company rule"\nabout = "a test"\n'
ADDED = """
[[duty]]
rule_id = "try-wheeled-examination"
duty = "wheeled_examination"
title = "wheeled examination"
counts = "group"
forms = ["wheeled"]
interval_months = 60
first_basis = "earliest_made_on"
satisfied_by = [{ record = "service", kind = "repair" }]
in_any = false
source = "a made-up rule of this test"
clause = "none"
certainty = "C"
about = "none"

[[duty]]
rule_id = "try-portable-only"
duty = "portable_only"
title = "portable only"
counts = "unit"
forms = ["portable"]
interval_months = 6
first_basis = "service_start"
satisfied_by = [{ record = "service", kind = "recharge" }]
in_any = false
source = "a made-up rule of this test"
clause = "none"
certainty = "C"
about = "none"
"""


def test_each_duty_counts_what_its_rule_asks_of(exports, run_on, small_fleet):
    texts = {
        **small_fleet,
        "rules/company.toml": HEAD + ADDED,
        "unit.csv": f"""unit_id,imo_number,agent,form,charge_kg,made_on,in_service_on
            U1,{VESSEL_A},powder,portable,6,2015-01-31,2016-01-31
            U2,{VESSEL_A},co2,portable,5,2018-06-01,2020-02-01
            W1,{VESSEL_A},powder,wheeled,50,2018-06-01,2020-02-01""",
    }
    _, con = run_on(exports(texts))
    units = dict(
        con.execute(
            "select duty, units from figure.overdue_monthly where month_end = '2026-05-10' and imo_number = '*'"
        ).fetchall()
    )
    assert units == {
        "*": 3, "onboard_check": 3, "annual_service": 3, "pressure_test": 3, "sample_discharge": 2, "wheeled_examination": 1,
        "portable_only": 2, "recharge_after_use": 3,
    }  # fmt: skip
    listed = dict(con.execute("select duty, count(*) from figure.duty_now group by duty").fetchall())
    assert listed == {duty: count for duty, count in units.items() if duty not in ("*", "recharge_after_use")}


SAID = 'source = "invented"\nclause = "1"\ncertainty = "C"\nabout = "a test"\n'
LIMIT = (
    'rule_id = "try-limit"\ntitle = "try"\nverdict = "unfit"\nmeasure = "discharge_s"\nbreach = "below"\nlimit_value = 30\n'
    'unit = "s"\n' + SAID
)
DUTY = ADDED.split("[[duty]]")[2]


def change(text: str, line: str) -> str:
    """The text with the line of that key put in place of its own."""
    name = line.split(" =")[0]
    return "\n".join([row for row in text.splitlines() if not row.startswith(f"{name} =")] + [line]) + "\n"


def drop(text: str, name: str) -> str:
    return "\n".join(row for row in text.splitlines() if not row.startswith(f"{name} =")) + "\n"


def twice(text: str, first: str, second: str) -> str:
    return f"[[duty]]\n{text}{first}\n[[duty]]\n{change(text, 'rule_id = ' + chr(34) + 'try-again' + chr(34))}{second}\n"


SLIPS = {
    "unknown key": ("[[duty]]" + change(DUTY, 'colour = "red"'), "try-portable-only.colour", "is not known"),
    "unknown key of the file": ('tempo = "fast"\n', "tempo", "is not known"),
    "no interval": ("[[duty]]" + change(DUTY, "interval_months = 0"), "interval_months", "1 or more"),
    "a text for a number": ("[[duty]]" + change(DUTY, 'interval_months = "12"'), "interval_months", "whole number"),
    "true for a number": ("[[duty]]" + change(DUTY, "interval_months = true"), "interval_months", "whole number"),
    "unknown certainty": ("[[duty]]" + change(DUTY, 'certainty = "sure"'), "certainty", "known are P, P2, C, M"),
    "unknown record": ("[[duty]]" + change(DUTY, 'satisfied_by = [{ record = "dream" }]'), "satisfied_by.record", "inspection, service"),
    "unknown work": ("[[duty]]" + change(DUTY, 'satisfied_by = [{ record = "service", kind = "polish" }]'), "satisfied_by.kind", "'polish'"),
    "unknown agent": ("[[duty]]" + change(DUTY, 'agents = ["sand"]'), "try-portable-only.agents", "'sand' is not known; known are water"),
    "a key that is missing": ("[[duty]]" + drop(DUTY, "clause"), "try-portable-only.clause", "is missing"),
    "a date in quotes": ("[[duty]]" + change(DUTY, 'effective_from = "2024-01-01"'), "effective_from", "is not a date"),
    "an end before the beginning": ("[[duty]]" + DUTY + "effective_from = 2024-01-01\neffective_until = 2024-01-01\n", "effective_until", "later"),
    "overlapping dates": (
        twice(DUTY, "effective_until = 2024-02-01", "effective_from = 2024-01-31"), "try-again.effective_from", "overlaps the dates of try-portable-only",
    ),
    "a window without a plan": ("[[duty]]" + DUTY + "window_before_months = 3\n", "window_before_months", 'anchor = "due"'),
    "wrong unit": ("[[limit]]\n" + change(LIMIT, 'unit = "min"'), "try-limit.unit", "'min' does not fit: discharge_s is measured in s"),
    "unknown measure": ("[[limit]]\n" + change(LIMIT, 'measure = "shine"'), "try-limit.measure", "'shine' is not known"),
    "no limit": ("[[limit]]\n" + drop(LIMIT, "limit_value"), "try-limit.limit_value", "must stand there"),
    "not TOML": ("[[limit]\n", "(whole file)", "is not TOML"),
}  # fmt: skip


@pytest.mark.parametrize("slip", SLIPS)
def test_a_slip_in_a_rule_file_is_one_sentence_that_names_file_and_key(slip):
    text, key, why = SLIPS[slip]
    with pytest.raises(UserError) as caught:
        read_regime("try.toml", (HEAD + text).encode())
    said = str(caught.value)
    assert (
        caught.value.slug == "bad-rule" and said.startswith("try.toml, key ") and key in said and why in said and "\n" not in said
    )


def test_what_the_slips_are_made_from_has_none():
    assert len(read_regime("try.toml", (HEAD + "[[duty]]" + DUTY + "[[limit]]\n" + LIMIT).encode()).rules) == 2
    turns = twice(DUTY, "effective_until = 2024-02-01", "effective_from = 2024-02-01")
    assert len(read_regime("try.toml", (HEAD + turns).encode()).rules) == 2


BOOKS = {
    "a loop": (
        HEAD + "[[duty]]" + DUTY + 'replaces = ["try-again"]\n[[duty]]' + change(DUTY, 'rule_id = "try-again"')
        + 'replaces = ["try-portable-only"]\neffective_from = 2024-01-01\n' + 'forms = ["wheeled"]\n',
        "leads in a loop",
    ),
    "a rule that replaces itself": (HEAD + "[[duty]]" + DUTY + 'replaces = ["try-portable-only"]\n', "leads in a loop"),
    "a rule that nobody knows": (HEAD + "[[duty]]" + DUTY + 'replaces = ["imo-nothing"]\n', "'imo-nothing' is no rule"),
    "a name of the baseline's": (HEAD + "[[duty]]" + change(DUTY, 'rule_id = "imo-annual-service"'), "stands in baseline/duties.toml already"),
    "a standard that is none": (HEAD + 'adopts = ["moon"]\n', "'moon' is no standard"),
    "a flag layer without a flag": (HEAD.replace("company\"\nbreach", "flag\"\nbreach"), "must stand in a flag layer"),
}  # fmt: skip


@pytest.mark.parametrize("slip", BOOKS)
def test_files_that_do_not_fit_together_are_refused(slip):
    text, why = BOOKS[slip]
    if slip == "a loop":
        text = text.replace('forms = ["portable"]\n', "")
    with pytest.raises(UserError) as caught:
        read_rule_book({"exports/rules/try.toml": text.encode()})
    assert caught.value.slug == "bad-rule" and "exports/rules/try.toml, key " in str(caught.value) and why in str(caught.value)


def test_standards_that_adopt_each_other_are_a_loop():
    standard = HEAD.replace('layer = "company"', 'layer = "standard"')
    own = {
        f"exports/rules/{name}.toml": (standard + f'adopts = ["{other}"]\n').encode()
        for name, other in (("one", "two"), ("two", "one"))
    }
    with pytest.raises(UserError, match="leads in a loop: one -> two -> one"):
        read_rule_book(own)


def test_a_run_with_a_faulty_rule_file_says_one_sentence_and_builds_nothing(exports, small_fleet, tmp_path, capsys):
    folder = exports({**small_fleet, "rules/company.toml": HEAD + "[[duty]]" + change(DUTY, 'agents = ["sand"]')})
    db = tmp_path / "f.duckdb"
    code = main(["run", str(folder), "--store", str(tmp_path / "s"), "--db", str(db), "--no-site"])
    said = capsys.readouterr().err.strip().splitlines()[-1]
    assert code == 2 and not db.exists() and not (tmp_path / "s" / "received.json").exists()
    assert (
        said.startswith("firekpi: exports/rules/company.toml, key try-portable-only.agents: 'sand' is not known")
        and "bad-rule" in said
    )


def test_the_macro_for_due_dates_is_what_the_spans_use():
    text = files("pipeline.duties").joinpath("spans.sql").read_text(encoding="utf-8")
    assert "due_date(basis_on, interval_months)" in text and "to_months" not in text
