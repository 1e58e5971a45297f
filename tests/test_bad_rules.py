"""What can be wrong in a rule file: one sentence that names file and key, non-zero exit, nothing changed.

Each case is a company's file; 'key' is what the sentence must name, 'why' a part of what it must say.
"""

from __future__ import annotations

import pytest

from pipeline.cli import main
from pipeline.contract import macros_sql
from pipeline.contract.imo_number import is_imo_number
from pipeline.duties.rule_book import read_rule_book
from pipeline.errors import UserError
from tests.conftest import VESSEL_A, write_folder
from tests.test_bad_input import snapshot

FILE = "exports/rules/own.toml"
HEAD = 'regime = "Own"\nlayer = "company"\nbreach_label = "company rule"\nabout = "a test"\n'
SAID = 'title = "try"\nsource = "invented"\nclause = "1"\ncertainty = "C"\nabout = "a test"\n'
BASE = {
    "duty": 'rule_id = "r"\nduty = "annual_service"\ncounts = "unit"\ninterval_months = 6\nfirst_basis = "made_on"\nin_any = true\n'
    'satisfied_by = [{ record = "service", kind = "annual_service" }]\n' + SAID,
    "limit": 'rule_id = "r"\nverdict = "unfit"\nmeasure = "charge_lost_pct"\nbreach = "above"\nlimit_value = 5\nunit = "pct"\n'
    + SAID,
    "ground": 'rule_id = "r"\nverdict = "unfit"\nrecord = "finding"\n' + SAID,
    "placement": 'rule_id = "r"\nbreach = "unsuitable"\n' + SAID,
    "number": 'rule_id = "r"\nmeasure = "spare_charges"\nfirst = 10\nshare = 0.5\nby = "vessel"\n' + SAID,
    "drop": 'rule_id = "r"\ndrops = ["imo-cartridge-test"]\n' + SAID,
}


def rule(kind: str, *lines: str, rule_id: str = "r") -> str:
    """A rule of that kind, with lines put in place of its own of the same key; a line that is a bare key takes it out."""
    keys = {line.split(" =")[0] for line in lines} | ({"rule_id"} if rule_id != "r" else set())
    kept = [line for line in BASE[kind].splitlines() if line.split(" =")[0] not in keys]
    named = [f'rule_id = "{rule_id}"'] if rule_id != "r" else []
    return "\n".join(["", f"[[{kind}]]", *named, *kept, *(line for line in lines if " =" in line), ""])


def duty(*lines: str, rule_id: str = "r") -> str:
    return rule("duty", *lines, rule_id=rule_id)


DUE = 'anchor = "due"'
FIVE = ('measure = "portable_units"', "first", "share", "by")
MARINE = '["9999994"]'  # VESSEL_A with a wrong check digit
CASES = {  # name: text after the head, key, why
    # Numbers out of bounds: months beyond a century overflow dates, or Python's when they are printed.
    "an interval of a million years": (duty("interval_months = 12000000"), "r.interval_months", "from 0 to 1,200"),
    "an interval of ten thousand years": (duty("interval_months = 120000"), "r.interval_months", "from 0 to 1,200"),
    "an interval one too long": (duty("interval_months = 1201"), "r.interval_months", "from 0 to 1,200"),
    "an interval of twenty digits": (duty("interval_months = 99999999999999999999"), "r.interval_months", "from 0 to 1,200"),
    "an interval that Python can't print": (duty("interval_months = 0x" + "f" * 5000), "r.interval_months", "from 0 to 1,200"),
    "a negative interval": (duty("interval_months = -6"), "r.interval_months", "-6 is out of bounds"),
    "no interval": (duty("interval_months = 0"), "r.interval_months", "must be 1 or more"),
    "a broken interval": (duty("interval_months = 6.0"), "r.interval_months", "is not a whole number"),
    "a long grace": (duty("grace_months = 999999999"), "r.grace_months", "from 0 to 120"),
    "a negative grace": (duty("grace_months = -1"), "r.grace_months", "from 0 to 120"),
    "a long window": (duty(DUE, "window_before_months = 900000000"), "r.window_before_months", "from 0 to 120"),
    "a window wider than the interval": (duty(DUE, "window_before_months = 7"), "r.window_before_months", "must not be more than interval_months, 6"),
    "a long age": (rule("limit", "age_from_months = 999999999"), "r.age_from_months", "from 0 to 1,200"),
    "an age below nothing": (rule("limit", "age_until_months = 0"), "r.age_until_months", "from 1 to 1,200"),
    "a year of no ship": (duty("built_from_year = 200"), "r.built_from_year", "from 1800 to 2,200"),
    "a negative tonnage": (duty("gross_tonnage_from = -1"), "r.gross_tonnage_from", "from 0 to 1,000,000"),
    "a negative charge": (duty("charge_above = -1"), "r.charge_above", "from 0 to 1,000"),
    "a negative limit": (rule("limit", "limit_value = -5"), "r.limit_value", "from 0 to 100,000"),
    "no number": (rule("limit", "limit_value = nan"), "r.limit_value", "nan is out of bounds"),
    "an endless number": (rule("limit", "limit_value = inf"), "r.limit_value", "inf is out of bounds"),
    "fewer than no spares": (rule("number", "first = -3"), "r.first", "from 0 to 100,000"),
    "a negative cap": (rule("number", "cap = -9"), "r.cap", "from 1 to 100,000"),
    "a share of more than all": (rule("number", "share = 50"), "r.share", "from 0 to 1"),
    "at least none": (rule("number", *FIVE, "least = 0"), "r.least", "from 1 to 100,000"),
    # Turned about: nothing lies between.
    "ages turned about": (rule("limit", "age_from_months = 50", "age_until_months = 10"), "r.age_until_months", "must be more than age_from_months, 50"),
    "one age": (rule("limit", "age_from_months = 50", "age_until_months = 50"), "r.age_until_months", "must be more than"),
    "charges turned about": (rule("limit", "charge_above = 9", "charge_up_to = 3"), "r.charge_up_to", "must be more than charge_above, 9"),
    "years turned about": (duty("built_from_year = 2010", "built_before_year = 2010"), "r.built_before_year", "must be more than built_from_year, 2010"),
    "days made turned about": (duty("made_from = 2020-01-01", "made_before = 2019-01-01"), "r.made_before", "must be later than made_from, 2020-01-01"),
    "days in force turned about": (duty("effective_from = 2024-01-01", "effective_until = 2023-01-01"), "r.effective_until", "must be later than"),
    # Names and words.
    "a slip in a duty's name": (duty('duty = "anual_service"'), "r.duty", "'anual_service' is not known, and too like 'annual_service'"),
    "a duty's name with a hyphen": (duty('duty = "pressure-test"'), "r.duty", "too like 'pressure_test'"),
    "a wrong check digit": (duty(f"vessels = {MARINE}"), "r.vessels", "'9999994' is not an IMO number"),
    "a vessel by name": (duty('vessels = ["Quiet Heron"]'), "r.vessels", "'Quiet Heron' is not an IMO number"),
    "no vessel": (duty("vessels = []"), "r.vessels", "must hold one"),
    "an unknown agent": (duty('agents = ["sand"]'), "r.agents", "'sand' is not known"),
    "an agent without brackets": (duty('agents = "co2"'), "r.agents", "is not a list of words"),
    "an unknown key": (duty("interval_month = 3"), "r.interval_month", "is not known"),
    "an unknown work": (duty('satisfied_by = [{ record = "service", kind = "anual" }]'), "r.satisfied_by.kind", "'anual' is not known"),
    "no work": (duty("satisfied_by = []"), "r.satisfied_by", "must name a record"),
    "no finding": (duty("triggered_by = []", 'first_basis = "none"'), "r.triggered_by", "must name a record"),
    "a rule without a source": (duty("source"), "r.source", "is missing"),
    "an empty source": (duty('source = " "'), "r.source", "is empty"),
    "a title that rings": (duty(r'title = "a\u0007b"'), "r.title", "control character"),
    "a title of two lines": (duty(r'title = "a\nb"'), "r.title", "control character"),
    "a name in capitals": (duty('rule_id = "CO_1"'), "duty[1].rule_id", "small letters"),
    "a name that is a list": (duty('rule_id = ["a"]'), "duty[1].rule_id", "is not a text"),
    "a key of two lines": (duty(r'"a\nb" = 1'), r"r.a\nb", "is not known"),
    "the wrong unit": (rule("limit", 'unit = "kg"'), "r.unit", "is measured in pct"),
    "two limits": (rule("limit", 'limit_from = "wall_mm"'), "r.limit_value", "not both"),
    "a date in quotes": (duty('effective_from = "2024-01-01"'), "r.effective_from", "is not a date"),
    "a date with a time": (duty("effective_from = 2024-01-01T00:00:00"), "r.effective_from", "is not a date"),
    "a date that is none": (duty("effective_from = 2023-02-29"), "(whole file)", "is not TOML"),
    "a limit held in another unit": (rule("limit", 'measure = "gauge_bar"', 'unit = "bar"', "limit_value", 'limit_from = "wall_mm"'), "r.limit_from", "wall_mm is held in mm, gauge_bar measured in bar"),
    "words of signs": (rule("ground", 'words = ["***"]'), "r.words", "holds no letter and no digit"),
    "a cap below the first": (rule("number", "cap = 3"), "r.cap", "must not be less than first, 10"),
    # Keys that say nothing of what the rule is about.
    "parts of a service": (rule("ground", 'record = "service"', 'components = ["shell"]'), "r.components", "says nothing of service; it fits finding"),
    "words of a register": (rule("ground", 'record = "unit"', 'words = ["old"]'), "r.words", "says nothing of unit"),
    "an outcome that a service has not": (rule("ground", 'record = "service"', 'outcomes = ["not_found"]'), "r.outcomes", "no outcome of service; known are satisfactory, unsatisfactory"),
    "a share of portable units": (rule("number", *FIVE, "least = 5", "share = 0.5"), "r.share", "says nothing of portable_units"),
    "least spares": (rule("number", "least = 5"), "r.least", "says nothing of spare_charges"),
    "a colour without a zone": (rule("placement", 'breach = "colour"'), "r.colour_zone_expected", "must stand"),
    # Rules that don't fit together.
    "two at once": (duty() + duty("interval_months = 7", rule_id="s"), "s.effective_from", "overlaps the dates of r"),
    "two at once, their words turned about": (
        rule("limit", 'agents = ["co2", "powder"]') + rule("limit", 'agents = ["powder", "co2"]', "limit_value = 7", rule_id="s"),
        "s.effective_from", "overlaps the dates of r",
    ),
    "two at once, in capitals, said twice": (
        duty('space_names = ["Galley", "mess"]') + duty('space_names = ["mess", "galley", "mess"]', rule_id="s"), "s.effective_from", "overlaps",
    ),
    "a name twice": (duty() + duty('duty = "pressure_test"'), "r.rule_id", "stands in exports/rules/own.toml already"),
    "a shipped name": (duty(rule_id="imo-annual-service"), "imo-annual-service.rule_id", "stands in baseline/duties.toml already"),
    "the place of nobody": (duty('replaces = ["zzz"]'), "r.replaces", "'zzz' is no rule"),
    "the place of another kind": (duty('replaces = ["trade-co2-charge-lost"]'), "r.replaces", "is a [[limit]], whose place a [[duty]] can't take"),
    "a drop in a duty's place": (rule("drop", 'replaces = ["imo-annual-service"]'), "r.replaces", "whose place a [[drop]] can't take"),
    "a drop of a drop": (rule("drop", 'drops = ["gi-no-small-cartridge-test"]'), "r.drops", "is a [[drop]], whose place no rule can take"),
    "spares dropped for one agent": (rule("drop", 'drops = ["solas-spare-charges"]', 'agents = ["co2"]'), "r.agents", "asked of a vessel as a whole"),
    "its own place": (duty('replaces = ["r"]'), "r.replaces", "leads in a loop: r -> r"),
    "a drop of itself": (rule("drop", 'drops = ["r"]'), "r.drops", "leads in a loop: r -> r"),
    "a circle": (duty('replaces = ["s"]', 'agents = ["co2"]') + duty('replaces = ["r"]', rule_id="s"), "r.replaces", "leads in a loop: r -> s -> r"),
    "a standard that is none": ('adopts = ["moon"]\n', "adopts", "'moon' is no standard"),
    # The file as a whole.
    "brackets in brackets": ("a = " + "[" * 3000 + "]" * 3000 + "\n", "(whole file)", "is nested too deep"),
    "tables in tables": ("a = " + "{b = " * 3000 + "1" + "}" * 3000 + "\n", "(whole file)", "is nested too deep"),
    "brackets a few hundred deep": (duty("agents = " + "[" * 90 + "]" * 90), "r.agents", "must hold one"),
    "an unknown layer": ('layer = "firm"\n', "layer", "'firm' is not known"),
    "no TOML": ("regime = \n", "(whole file)", "is not TOML"),
    "a byte of zero": ("\0", "(whole file)", "is not TOML"),
    "a key of the file": ('tempo = "fast"\n', "tempo", "is not known"),
    "vessels without quotes": ("vessels = [9999993]\n", "vessels", "must hold one"),
    "a wrong check digit in the head": (f"vessels = {MARINE}\n", "vessels", "'9999994' is not an IMO number"),
    "a duty that is a word": ('duty = "x"\n', "duty", "must be a list of tables"),
    "an empty rule": ("[[drop]]\n", "drop[1].rule_id", "is missing"),
}  # fmt: skip


def whole(text: str) -> str:
    """The head and the text; what the text says of the head stands in its place."""
    head = (
        HEAD.splitlines()
        if not text.startswith(("layer", "regime"))
        else [line for line in HEAD.splitlines() if line[:5] != text[:5]]
    )
    return "\n".join([*head, text])


@pytest.mark.parametrize("case", CASES)
def test_it_is_refused_in_one_sentence(case):
    text, key, why = CASES[case]
    with pytest.raises(UserError) as caught:
        read_rule_book({FILE: whole(text).encode()})
    said = str(caught.value)
    assert caught.value.slug == "bad-rule" and caught.value.exit_code == 2
    assert said.startswith(f"{FILE}, key {key}: ") and why in said, said
    assert said.isprintable() and len(said) < 1_500


def test_what_the_cases_are_made_from_is_taken():
    for kind in BASE:
        assert any(r["rule_id"] == "r" for _, r in read_rule_book({FILE: (HEAD + rule(kind)).encode()}).rules)
    assert read_rule_book({FILE: (HEAD + duty(r'about = "one\n\ttwo"')).encode()}).find("r")["about"] == "one\n\ttwo"
    edge = duty("interval_months = 1200", "grace_months = 120", DUE, "window_before_months = 120", f'vessels = ["{VESSEL_A}"]')
    edge += rule("limit", "age_from_months = 0", "age_until_months = 1200", "limit_value = 0", rule_id="s")
    edge += rule("number", "first = 0", "share = 1", "cap = 1", rule_id="t")
    assert len(read_rule_book({FILE: (HEAD + edge).encode()}).regimes[-1].rules) == 3


@pytest.mark.parametrize(
    "name", ["portable_only", "weekly_look", "hose_test", "cylinder_pressure_test", "cartridge_check", "annual_survey"]
)
def test_a_really_new_duty_is_taken(name):
    assert read_rule_book({FILE: (HEAD + duty(f'duty = "{name}"')).encode()}).find("r")["duty"] == name


def test_rules_that_take_turns_or_cover_other_units_are_taken():
    turns = duty("effective_until = 2024-01-01") + duty("effective_from = 2024-01-01", rule_id="s")
    others = duty('agents = ["co2"]') + duty('agents = ["co2", "powder"]', rule_id="s")
    for text in (turns, others):
        assert read_rule_book({FILE: (HEAD + text).encode()}).find("s")


def test_a_long_line_of_rules_that_replace_each_other_is_no_loop():
    line = "".join(
        duty(f'replaces = ["n{n + 1}"]' if n < 1500 else "in_any = true", f"gross_tonnage_from = {n}", rule_id=f"n{n}")
        for n in range(1501)
    )
    assert read_rule_book({FILE: (HEAD + line).encode()}).find("n0")["replaces"] == ["n1"]


def test_the_check_digit_is_the_same_in_python_and_in_sql():
    import duckdb

    numbers = [f"{n:07}" for n in range(0, 10_000_000, 9_973)] + [
        "9074729",
        "907472",
        "90747290",
        "907472A",
        "",
        "٩٠٧٤٧٢٩",
        " 9074729",
    ]
    with duckdb.connect() as con:
        con.execute(macros_sql())
        found = con.execute("select is_imo_number(n) from (select unnest($numbers) as n)", {"numbers": numbers}).fetchall()
    assert [is_imo_number(number) for number in numbers] == [right for (right,) in found]
    assert 50 < sum(right for (right,) in found) < 150


@pytest.fixture(scope="module")
def published(tmp_path_factory):
    """A folder of exports, with store, database and site of a good run."""
    place = tmp_path_factory.mktemp("bad_rules")
    write_folder(place / "exports", {
        "vessel.csv": f"imo_number,vessel_name\n{VESSEL_A},Quiet Heron",
        "unit.csv": f"unit_id,imo_number,agent,form,charge_kg,made_on,in_service_on\nU1,{VESSEL_A},powder,portable,6,2015-01-31,2016-01-31",
        "rules/own.toml": HEAD + duty(),
    })  # fmt: skip
    assert main(arguments(place)) == 0
    return place


@pytest.mark.parametrize("name", ["rules/own.TOML", "rules/deep/own.toml", "dialects/Own.Toml"])
def test_a_file_that_would_be_passed_over_is_refused(published, capsys, name):
    before, extra = snapshot(published), published / "exports" / name
    write_folder(published / "exports", {name: "regime = 5\n"})
    try:
        assert main(arguments(published)) in (2, 3)
    finally:
        extra.unlink()
        if not any(extra.parent.iterdir()) and extra.parent.name != "rules":
            extra.parent.rmdir()
    said = capsys.readouterr().err.strip().splitlines()
    assert len(said) == 1 and extra.name in said[0] and "would be passed over" in said[0]
    assert snapshot(published) == before


def arguments(place) -> list[str]:
    return [
        "run",
        f"{place}/exports",
        "--as-of",
        "2026-05-10",
        "--store",
        f"{place}/store",
        "--db",
        f"{place}/f.duckdb",
        "--site",
        f"{place}/site",
    ]


@pytest.mark.parametrize("case", CASES)
def test_a_run_says_it_and_changes_nothing(published, capsys, case):
    text, key, why = CASES[case]
    (published / "exports/rules/own.toml").write_text(whole(text), encoding="utf-8")
    before = snapshot(published)
    capsys.readouterr()
    assert main(arguments(published)) == 2
    said = capsys.readouterr().err
    assert (
        said.startswith(f"firekpi: {FILE}, key {key}: ")
        and why in said
        and said.endswith("[bad-rule]\n")
        and said.count("\n") == 1
    )
    assert snapshot(published) == before
