"""The layered rule book on the pages: a table for each kind, what asks less, rounds, and the sentences that lead to the verdicts."""

from __future__ import annotations

import re
import shutil
from pathlib import Path
from types import SimpleNamespace

import duckdb
import pytest

from dashboards.rule_book import Rule, RuleBook
from dashboards.site import build_site
from pipeline.run import RunOptions, run
from tests.browser.make_fixture_db import make_fixture_db
from tests.browser.read_site import read_page, read_pages, read_twin
from tests.browser.test_pages import close, open_page
from tests.golden.conftest import AS_OF, SAMPLES

KINDS = {"limit": "limits", "ground": "grounds", "placement": "placements", "number": "numbers"}
LESS = "asks less than the rule it replaces"
VERDICT_PAGES = ("index", "overdue", "fitness", "agents")


@pytest.fixture(scope="module")
def layered(tmp_path_factory) -> SimpleNamespace:
    """The sample exports with the two layers to try in force: .db and .site."""
    folder = tmp_path_factory.mktemp("layered")
    shutil.copytree(SAMPLES, folder / "exports")
    shutil.copytree(SAMPLES / "layers", folder / "exports" / "rules")
    db, site = folder / "layered.duckdb", folder / "site"
    run(RunOptions((folder / "exports",), folder / "store", db, AS_OF))
    build_site(db, site)
    return SimpleNamespace(db=db, site=site)


@pytest.fixture
def layered_con(layered):
    with duckdb.connect(str(layered.db), read_only=True) as con:
        yield con


def read_text(path: Path) -> str:
    return read_page(path).text.replace("\u00a0", " ")


@pytest.mark.parametrize("kind", KINDS)
def test_method_holds_every_rule_in_force_of_its_kind(layered, layered_con, kind):
    rows = read_twin(layered.site / f"data/method-{KINDS[kind]}.csv")
    found = layered_con.execute(
        """
        select rule_id, layer, certainty, coalesce(loosens, ''), coalesce(effective_from::varchar, '') from duty.provision, intake.run
        where kind = ? and rule_id in (
            select rule_id from duty.in_force where from_on <= as_of and to_on > as_of
            union select rule_id from duty.vessel_in_force where from_on <= as_of and to_on > as_of)""",
        [kind],
    ).fetchall()
    seen = [
        (r["rule_id"], r["layer"], re.match(r"\[(\w+)\]", r["certainty"])[1], r["loosens"], r["effective_from"]) for r in rows
    ]
    assert found and sorted(seen) == sorted(found)
    assert all(r["scope"] and r["asks"] and r["source"] for r in rows)


def test_duties_stand_with_layer_dates_and_scope(layered, layered_con):
    rows = {r["rule_id"]: r for r in read_twin(layered.site / "data/method-rules.csv")}
    found = dict(layered_con.execute("select rule_id, interval_months from duty.rule").fetchall())
    assert {name: int(r["interval_months"]) for name, r in rows.items()} == found
    flag = rows["xa-co2-pressure-test"]
    assert (flag["layer"], flag["effective_from"], flag["scope"]) == ("flag", "2025-01-01", "CO2")
    assert LESS in rows["xa-wheeled-check"]["satisfied_by"] and LESS not in rows["imo-onboard-check"]["satisfied_by"]


def test_what_asks_less_comes_first_with_the_vessels_that_it_binds(layered, layered_con):
    page, rows = read_page(layered.site / "method.html"), read_twin(layered.site / "data/method-loosened.csv")
    assert list(page.tables)[0] == "loosened"
    named = {r["rule_id"]: r["vessels"] for r in rows}
    assert {"co-no-cartridge-test", "xa-discharge-in-rotation", "xa-wheeled-check"} <= set(named)
    (other,) = layered_con.execute("select vessel_name from record.vessel where flag <> 'XA' order by 1 limit 1").fetchone()
    assert other not in named["xa-wheeled-check"] and other in named["co-no-cartridge-test"]


def test_a_vessel_names_the_rules_that_ask_less_of_it_and_no_other(layered, layered_con):
    rows = read_twin(layered.site / "data/method-loosened.csv")
    for imo, name in layered_con.execute("select imo_number, vessel_name from record.vessel").fetchall():
        page = read_page(layered.site / f"vessel/{imo}.html")
        mine = [r for r in rows if name in r["vessels"]]
        assert mine, name
        for row in mine:
            assert f"../method.html#rule-{row['rule_id']}" in page.links, (name, row["rule_id"])
        verb = "asks" if len(mine) == 1 else "ask"
        assert f"of this vessel {verb} less than" in page.text


def test_without_layers_no_vessel_is_told_of_rules_that_ask_less(site, con):
    assert "of this vessel ask" not in "".join(page.text for page in read_pages(site) if page.path.parent.name == "vessel")
    assert "No rule in force asks less" in read_page(site / "method.html").text


def test_links_to_rules_and_verdicts_lead_to_an_anchor(layered):
    pages = {page.path: page for page in read_pages(layered.site)}
    seen = 0
    for page in pages.values():
        for link in page.links:
            path, _, anchor = link.partition("#")
            if anchor and not {":", "="} & set(link):  # what the register is asked for is no anchor
                target = pages[(page.path.parent / path).resolve() if path else page.path]
                assert anchor in target.ids, (page.path.name, link)
                seen += anchor.startswith("rule-")
    assert seen > 100


def test_the_fleet_and_each_vessel_say_the_verdicts_and_lead_to_them(site, con):
    sql = """
        select count(distinct (imo_number, unit_id)) filter (verdict = 'unfit'),
            count(distinct (imo_number, unit_id)) filter (verdict = 'condemn') from figure.verdict"""
    unfit, condemn = con.execute(sql).fetchone()
    fleet = read_page(site / "index.html")
    assert f"{unfit} units are unfit and {condemn} are to be condemned" in fleet.text and unfit and condemn
    assert {"fitness.html#unfit", "fitness.html#condemn", "fitness.html#placement"} <= set(fleet.links)
    for (imo,) in con.execute("select distinct imo_number from figure.unit_now").fetchall():
        page = read_page(site / f"vessel/{imo}.html")
        mine = con.execute(f"{sql} where imo_number = ?", [imo]).fetchone()
        said = re.search(r"(\w+) units? (?:is|are) unfit and (\w+) (?:is|are) to be condemned", page.text)
        assert tuple(0 if word in ("no", "none") else int(word) for word in said.groups()) == mine, imo
        assert f"../vessel/{imo}.html#unfit" in page.links


def test_reasons_are_counted_by_unit(site, con):
    for verdict in ("unfit", "condemn"):
        rows = read_twin(site / f"data/fitness-{verdict}-reasons.csv")
        found = con.execute(
            """
            select title, count(distinct (imo_number, unit_id)) as units from figure.verdict join duty.provision using (rule_id)
            where verdict = ? group by title""",
            [verdict],
        ).fetchall()
        assert found and sorted((r["reason"].lower(), int(r["units"])) for r in rows) == sorted((t.lower(), n) for t, n in found)


@pytest.mark.parametrize("name", VERDICT_PAGES)
def test_caution_stands_on_screen_and_on_paper(browser, site, name):
    page, _ = open_page(browser, site, name)
    on_screen = page.locator(".caution").count(), page.locator(".caution").first.is_visible()
    page.emulate_media(media="print")
    on_paper = page.locator(".caution").first.is_visible()
    close(page)
    assert on_screen == (1, True) and on_paper


def make_rule(rule_id: str, duty: str, title: str, months: int) -> Rule:
    return Rule(rule_id, duty, title, "unit", months, "C", True)


def test_a_duty_at_once_is_no_round_and_rounds_go_by_the_duty():
    book = RuleBook(
        (
            make_rule("a", "look", "onboard check", 1),
            make_rule("b", "look", "onboard check of wheeled units", 3),
            make_rule("c", "fill", "recharge after use", 0),
            make_rule("d", "service", "annual service", 12),
        )
    )
    assert book.rounds == ["look"] and book.name_rounds() == "onboard checks" and not book.is_round("fill")
    assert (
        book.say_interval("look") == "every month, or as the vessel's rule says" and book.say_interval("service") == "every year"
    )
    assert make_rule("c", "fill", "recharge after use", 0).mark == "[C] at once"


def test_rounds_are_left_out_of_the_work_ahead_and_duties_at_once_are_not(layered):
    text = "".join(read_text(layered.site / f"{name}.html") for name in ("index", "overdue", "vessel/0001042"))
    assert "onboard check comes round every month, or as the vessel's rule says" in text
    assert "after uses" not in text and "unitss" not in text and "comes round at once" not in text


def test_hostile_reasons_and_rules_stay_text(tmp_path):
    bad = "<script>window.hit=1</script>"
    db = make_fixture_db(tmp_path / "a.duckdb", vessels=2, units=12, months=3)
    with duckdb.connect(str(db)) as con:
        for statement in (
            "update figure.verdict set reason = ?", "update duty.provision set title = ?", "update duty.provision set loosens = ?",
            "update duty.provision set source = ?", "update figure.station_now set reason = ?", "update figure.number_now set reason = ?",
            "update duty.ground set words = [?]", "update duty.provision set agent_details = [?]",
        ):  # fmt: skip
            con.execute(statement, [bad])
    build_site(db, tmp_path / "site")
    for name in ("fitness", "method", "index", "vessel/9000003"):
        html = (tmp_path / "site" / f"{name}.html").read_text(encoding="utf-8")
        assert bad not in html, name
        assert (bad in read_page(tmp_path / "site" / f"{name}.html").text) == (name != "index"), name
