"""From each line of a list back to its rule, its units and the line of the file that proves it."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest

from tests.browser.read_site import read_page, read_twin
from tests.golden.conftest import SAMPLES


def read_line(path: str, line_no: str) -> str:
    return (SAMPLES.parent / path).read_bytes().decode("latin-1").split("\n")[int(line_no) - 1]


def list_vessels(con) -> list[str]:
    return [imo for (imo,) in con.execute("select distinct imo_number from figure.unit_now order by all").fetchall()]


def test_overdue_twin_holds_keys_basis_rule_and_line(site, con):
    rows = read_twin(site / "data/overdue-items.csv")
    found = con.execute("""
        select imo_number, unit_id, rule_id, basis_kind, basis_on::varchar, path, basis_line_no::varchar from figure.overdue_now
        left join intake.file on file_id = basis_file_id""").fetchall()
    keys = ("imo_number", "unit_id", "rule_id", "basis_kind", "basis_on", "path", "line_no")
    assert found and Counter(tuple(r[k] for k in keys) for r in rows) == Counter(found)


def test_every_trace_leads_to_the_line_of_that_unit(site, con):
    rows = read_twin(site / "data/overdue-items.csv")
    for imo in list_vessels(con):
        twin = site / f"data/vessel/{imo}-findings.csv"
        rows += [row | {"unit_id": row["unit"].split(",")[0]} for row in (read_twin(twin) if twin.is_file() else [])]
    singles = [row for row in rows if "·" not in row["unit_id"]]
    assert len(singles) > 30
    for row in singles:
        assert row["unit_id"].split("-")[-1] in read_line(row["path"], row["line_no"]), row


def test_page_writes_path_and_line(site, con):
    page, rows = read_page(site / "overdue.html"), read_twin(site / "data/overdue-items.csv")
    assert [row[-1] for row in page.tables["items"][1:]] == [f"{r['path']}:{r['line_no']}" for r in rows]


def test_each_item_leads_to_its_rule(site, con):
    page = read_page(site / "overdue.html")
    rules = dict(con.execute("select rule_id, certainty from duty.rule").fetchall())
    rows = read_twin(site / "data/overdue-items.csv")
    for row, shown in zip(rows, page.tables["items"][1:], strict=True):
        assert f"method.html#rule-{row['rule_id']}" in page.links and shown[7] == row["rule"]
        assert row["rule"].startswith((f"[{rules[row['rule_id']]}] every ", f"[{rules[row['rule_id']]}] at once"))
    assert {"[C] every month", "[P] every 10 years"} <= {row["rule"] for row in rows}


def test_groups_name_their_units_and_places(site, con):
    rows = {(r["imo_number"], r["unit_id"]): r for r in read_twin(site / "data/overdue-items.csv")}
    groups = con.execute("""
        select o.imo_number, o.unit_id, u.unit_id, u.position_no,
            coalesce(u.foam_kind = 'chemical' or u.expelled_by = 'reaction', false)
        from figure.overdue_now as o join duty.sample_group as g on g.imo_number = o.imo_number and g.group_id = o.unit_id
        join figure.unit_now as u on u.imo_number = g.imo_number and u.unit_id = g.unit_id
        where o.is_group and u.counted = 'in service'""").fetchall()
    sizes = Counter(group[:2] for group in groups)
    assert 1 in sizes.values() and max(sizes.values()) > 1 and any(group[4] for group in groups)
    for imo, group, unit, position, is_old in groups:
        row = rows[imo, group]
        assert f"{unit} at {position}" + (" (obsolete kind)" if is_old else "") in row["place"]
        size = sizes[imo, group]
        assert row["unit"].startswith(f"{unit}, alone" if size == 1 else f"one of {size}: ")


def test_attempts_that_missed_the_unit_are_told(site, con):
    tried = con.execute("""
        select o.unit_id, u.last_missed_on::varchar, u.last_missed_outcome from figure.overdue_now as o
        join figure.unit_now as u on u.imo_number = o.imo_number and u.unit_id = o.unit_id
        where o.duty = 'onboard_check' and last_missed_on > basis_on""").fetchall()
    rows = read_twin(site / "data/overdue-items.csv")
    assert tried and sorted((r["unit_id"], r["missed_on"], r["missed_outcome"]) for r in rows if r["missed_on"]) == sorted(tried)
    shown = [row[6] for row in read_page(site / "overdue.html").tables["items"]]
    assert sum("; tried" in cell.replace("\u00a0", " ") for cell in shown) == len(tried)


def test_first_days_that_stand_in_for_a_record_say_so(site, con):
    rows = read_twin(site / "data/overdue-items.csv")
    shown = read_page(site / "overdue.html").tables["items"][1:]
    bare = [row["basis_kind"] in ("in_service_on", "made_on") for row in rows]
    assert any(bare) and [row[6].startswith("no such record; ") for row in shown] == bare


def test_phone_sees_unit_due_and_lateness_first(site):
    for name in ("overdue", "vessel/0001042"):
        table = read_page(site / f"{name}.html").tables["items" if name == "overdue" else "overdue"]
        assert table[0][:4] == ["Unit or group", "Due", "Days overdue", "Duty"]


def test_register_tells_duties_and_findings_apart(site, con):
    for imo in list_vessels(con):
        page, rows = read_page(site / f"vessel/{imo}.html"), read_twin(site / f"data/vessel/{imo}-register.csv")
        assert page.tables["register"][0][1:3] == ["Duties", "Open findings"]
        found = con.execute(
            "select unit_id, open_findings::varchar, coalesce(worst_open_severity, '') from figure.unit_now where imo_number = ?",
            [imo],
        ).fetchall()
        assert Counter((r["unit_id"], r["open_findings"], r["worst_open_severity"]) for r in rows) == Counter(found)
        assert {r["state"] for r in rows} <= {"in time", "overdue", "unknown", "spare", "ashore", "laid up"}


def test_findings_come_worst_first_and_say_serviced_since(site, con):
    order, checked = ["unfit", "major", "minor", ""], 0
    for imo in list_vessels(con):
        twin = site / f"data/vessel/{imo}-findings.csv"
        rows = read_twin(twin) if twin.is_file() else []
        keys = [(order.index(r["severity"]), r["found_on"]) for r in rows]
        assert keys == sorted(keys), imo
        shown = read_page(site / f"vessel/{imo}.html").tables.get("findings", [[]])[1:]
        for row, cells in zip(rows, shown, strict=True):
            (last,) = con.execute("""
                select max(serviced_on)::varchar from record.service, intake.run
                where unit_id = ? and outcome = 'satisfactory' and serviced_on > ?::date and serviced_on <= as_of
            """, [row["unit"].split(",")[0], row["found_on"]]).fetchone()  # fmt: skip
            assert (last or "") == row["serviced_on"] and ("finding not closed" in cells[8]) == bool(last)
            checked += bool(last)
    assert checked > 3


def test_spares_stand_one_line_for_each_agent_and_size(site, con):
    found = con.execute("""
        select imo_number, agent, charge_l, charge_kg, spare_charges, counted_on::varchar from record.spare as s, intake.run
        where counted_on = (select max(counted_on) from record.spare as o
            where o.imo_number = s.imo_number and o.agent = s.agent and o.counted_on <= as_of)""").fetchall()
    rows = read_twin(site / "data/agents-spares.csv")
    seen = [
        (r["imo_number"], r["agent"].lower().replace(" ", "_"), float(r["charge_l"]) if r["charge_l"] else None,
         float(r["charge_kg"]) if r["charge_kg"] else None, int(r["spare_charges"]), r["counted_on"]) for r in rows
    ]  # fmt: skip
    assert found and Counter(seen) == Counter(found)


def test_vessel_page_holds_its_mix(site, con):
    for imo, every in con.execute("select imo_number, sum(units)::int from figure.agent_mix group by all").fetchall():
        assert sum(int(r["units"]) for r in read_twin(site / f"data/vessel/{imo}-agents.csv")) == every


def test_closing_tells_what_is_open_and_no_percentage_of_few(site, con):
    rows = read_twin(site / "data/defects-closing.csv")
    found = con.execute("""
        select findings, findings - closed, round(repeat_share * findings)::int from figure.defect_rate
        where period = 'last 12 months' and imo_number = '*' and component <> '*' and defect <> '*' and agent = '*'
            and space_category = '*' order by findings desc, component, defect""").fetchall()
    seen = [(int(r["findings"]), int(r["still_open"]), int(r["seen_before_count"])) for r in rows]
    assert found and seen == found
    assert all((r["seen_before_pct"] == "") == (int(r["findings"]) < 10) for r in rows)
    assert any(int(r["still_open"]) for r in rows)


@pytest.mark.parametrize("name", ["overdue-items.csv", "agents-spares.csv"])
def test_dates_in_twins_are_iso(site, name):
    rows = read_twin(Path(site) / "data" / name)
    days = [value for row in rows for key, value in row.items() if key.endswith("_on") and value]
    assert days and all(len(day) == 10 and day[4] == day[7] == "-" for day in days)
