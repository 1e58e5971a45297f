-- figure.defect_rate: one row is a period, a vessel, a component and defect, an agent, a kind of space ('*' = all of them): distinct
-- defects found per 100 unit-years under observation, with Garwood limits. A defect that is reported again while still open
-- counts once. Where no unit was watched there is no rate: a finding of a day after the last watched one stands with null.
create table figure.defect_rate as
with period as (
    select 'all' as period, date '0001-01-01' as start_on, $as_of::date + 1 as end_on
    union all select 'last 12 months', ($as_of::date + 1 - to_months(12))::date, $as_of::date + 1
    union all select year::varchar, make_date(year, 1, 1), least(make_date(year + 1, 1, 1), $as_of::date + 1)
    from (
        select unnest(range(year(from_on), year(to_on - 1) + 1))::integer as year from figure.observed
        union select year(found_on)::integer from figure.defect_report where is_counted
    )
),
exposure as (
    select period, imo_number, agent, space_category,
        sum(least(to_on, end_on) - greatest(from_on, start_on)) as unit_days
    from figure.observed join period on greatest(from_on, start_on) < least(to_on, end_on) group by all
),
counted_report as (
    select period, report.* from figure.defect_report as report join period on found_on >= start_on and found_on < end_on
    where is_counted
),
found as (
    select period, coalesce(imo_number, '*') as imo_number, coalesce(component, '*') as component, coalesce(defect, '*') as defect,
        coalesce(agent, '*') as agent, coalesce(space_category, '*') as space_category,
        count(*) filter (not is_same_defect) as findings, count(*) as reports,
        count(*) filter (not is_same_defect and is_seen_before) as repeats,
        count(*) filter (not is_same_defect and closed_on <= $as_of::date) as closed,
        median(closed_on - found_on) filter (not is_same_defect and closed_on <= $as_of::date) as days_to_close_median
    from counted_report
    group by grouping sets ((period), (period, imo_number), (period, component, defect), (period, agent), (period, space_category),
        (period, imo_number, component, defect), (period, component), (period, defect))
),
watched as (
    select period, coalesce(imo_number, '*') as imo_number, coalesce(agent, '*') as agent,
        coalesce(space_category, '*') as space_category, sum(unit_days) / 365.25 as unit_years
    from exposure group by grouping sets ((period), (period, imo_number), (period, agent), (period, space_category))
),
row_wanted as (
    select period, imo_number, component, defect, agent, space_category from found
    union select period, imo_number, '*', '*', agent, space_category from watched
)
select period, imo_number, component, defect, agent, space_category, coalesce(findings, 0) as findings,
    coalesce(watched.unit_years, 0) as unit_years,
    100 * coalesce(findings, 0) / watched.unit_years as per_100_unit_years,
    100 * garwood_low(coalesce(findings, 0)) / watched.unit_years as low,
    100 * garwood_high(coalesce(findings, 0)) / watched.unit_years as high,
    coalesce(findings, 0) >= 10 and watched.unit_years is not null as is_rated, coalesce(reports, 0) as reports,
    repeats / nullif(findings, 0) as repeat_share, coalesce(closed, 0) as closed, days_to_close_median
from row_wanted left join watched using (period, imo_number, agent, space_category)
left join found using (period, imo_number, component, defect, agent, space_category)
order by period, imo_number, component, defect, agent, space_category;
