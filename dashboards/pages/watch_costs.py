"""What waiting costs against replacing. In: figure.watch_cost, figure.price. Out: blocks of the Watch list page."""

from __future__ import annotations

from collections import Counter

from dashboards import words
from dashboards.blocks import Context, Note, Table, name_columns
from dashboards.pages.watch_words import Row

COSTS_SQL = "SELECT * FROM figure.watch_cost ORDER BY list_rank"
PRICES_SQL = "SELECT * FROM figure.price ORDER BY price_no"
SHOWN = 40
REMARK = (
    "Costs of the next twelve months, expected at the unit’s chance. A new unit costs its price over the years of its life; keeping costs the "
    "failure at that chance, and the test if one falls due. A choice is settled where it is the cheapest at both limits of the chance too."
)
WHERE = (
    "To weigh costs, put your own prices into rules/prices.toml in a folder of exports: currency, of (day of the prices), lead_days, "
    "life_years, failure, and for each kind of unit agent, form, charge_up_to, replacement, pressure_test."
)
CHOICES = ("replace now", "replace at the next pressure test", "keep for now")


def tell_costs(costs: list[Row], prices: list[Row]) -> Note:
    """How many units each choice is settled for, and how many the interval leaves open."""
    if not prices:
        return Note(f"No prices are given, so no cost is weighed. {WHERE}", "empty")
    weighed = [row for row in costs if row.why_not is None]
    if not weighed:
        return Note("Prices are given, and no unit can be weighed: this list gives no chance, or no price fits.", "empty")
    settled = Counter(row.settled for row in weighed if row.settled)
    parts = [f"{choice} {words.say_number(settled[choice])}" for choice in CHOICES if settled[choice]]
    left = len(weighed) - sum(settled.values())
    said = f"the cheapest choice is settled: {words.say_list(parts)}. " if parts else "no choice is settled. "
    left_open = f"For {words.say_count(left, 'unit')} the interval leaves it open. " if left else ""
    day = words.say_date(prices[0].priced_on)
    return Note(
        f"Of {words.say_count(len(weighed), 'unit')} with a chance and a price of {day}, {said}{left_open}"
        "A sum of money is no verdict: a unit with a hard reason is never weighed, and a competent person decides on every other."
    )


def list_costs(costs: list[Row], context: Context) -> Table:
    """Expected costs by unit, in the order of the list."""
    columns = name_columns(
        "list_rank=Rank:count; unit_id=Unit:unit; vessel=Vessel:link; replace_now=Replace now:number; replace_at_test=At the next test:number; "
        "keep=Keep:number; settled=Settled choice:page_text; currency=Currency; why_not=Remark:long; settled_choice=Settled:text twin; "
        "cheapest=Cheapest:text twin; cheapest_low=At the lower limit:text twin; cheapest_high=At the upper limit:text twin; "
        "imo_number=IMO number:code twin"
    )
    cells = tuple(
        (r.list_rank, context.link_unit(r.unit_id), context.link_vessel(r.imo_number), r.replace_now, r.replace_at_test, r.keep,
         "" if r.why_not else r.settled or "left open by the interval", r.currency or "", r.why_not or "", r.settled or "", r.cheapest or "",
         r.cheapest_low or "", r.cheapest_high or "", r.imo_number)
        for r in costs
    )  # fmt: skip
    return Table(
        "costs", "Expected costs of the next twelve months, in the order of the list", columns, cells, shown=SHOWN, is_folded=True,
        empty="No prices are given.",
    )  # fmt: skip
