-- figure.defect_vessel: one row is a period ('all', 'last 12 months') and a vessel ('*' = the fleet): its rate of defects per 100
-- unit-years with its own limits, and what is left of it when it is drawn towards the fleet. `chance_above`: that its rate exceeds 1.5
-- times the fleet's mean. `rank` (by it) stands only where the vessels differ by more than chance (verdict, on the fleet's row).
-- `yearly_phi`: how much more than chance a vessel's count moves from year to year; verdict_p allows for it.
create table figure.defect_vessel (
    period text, imo_number text, findings bigint, unit_years double, per_100_unit_years double, low double, high double,
    interval_by text, shrunk double, shrunk_low double, shrunk_high double, chance_above double, "rank" integer,
    dispersion_x2 double, dispersion_df integer, dispersion_p double, yearly_phi double, verdict_p double, verdict text
);

-- figure.defect_change: one row is the fleet: distinct defects found in the last 12 months against the 12 before, the ratio of the
-- rates with exact limits, and within the same vessels with limits that allow for finds in batches (wide). The verdict asks both.
create table figure.defect_change (
    findings bigint, unit_years double, findings_before bigint, unit_years_before double, ratio double, low double, high double, p double,
    wide_low double, wide_high double, wide_p double, verdict text
);

-- one row is a vessel and a block of 12 months counted back from $as_of (0 = the last)
create temp table defect_block as
with block as (
    select years_back, ($as_of::date + 1 - to_months(12 * years_back + 12))::date as start_on,
        ($as_of::date + 1 - to_months(12 * years_back))::date as end_on
    from range(30) as number (years_back)
),
watched as (
    select imo_number, years_back, sum(least(to_on, end_on) - greatest(from_on, start_on)) as unit_days
    from figure.observed join block on greatest(from_on, start_on) < least(to_on, end_on) group by all
),
found as (
    select imo_number, years_back, count(*) as findings from figure.defect_report join block on found_on >= start_on and found_on < end_on
    where is_counted and not is_same_defect group by all
)
select imo_number, years_back, coalesce(findings, 0) as findings, unit_days
from watched left join found using (imo_number, years_back) order by imo_number, years_back;
