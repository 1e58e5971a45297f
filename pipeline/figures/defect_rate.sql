-- figure.defect_rate: one row is a period, a vessel, a component and defect, an agent, a kind of space ('*' = all of them): distinct
-- defects found per 100 unit-years under observation, with Garwood limits. A defect that is reported again while still open
-- counts once. A unit is under observation from its first day, but not before the vessel's first record, to its last look
-- (inspection that saw it, service or finding): of the rest nothing is known.
create table figure.defect_rate as
with look as (
    select unit_id, imo_number, inspected_on as looked_on from record.inspection where was_seen(outcome)
    union all select unit_id, imo_number, serviced_on from record.service
    union all select unit_id, imo_number, found_on from record.finding
),
last_look as (select unit_id, max(looked_on) as last_looked_on from look where looked_on <= $as_of::date group by unit_id),
first_look as (select imo_number, min(looked_on) as first_looked_on from look group by imo_number),
watched_stay as (
    select counted.imo_number, counted.unit_id, coalesce(unit.agent, 'not stated') as agent,
        coalesce(unit.space_category, 'not stated') as space_category,
        greatest(counted.from_on, first_looked_on) as from_on,
        least(counted.to_on, last_looked_on + 1) as to_on, stay.stay_no, stay.from_on as began_on, unit.in_service_on
    from duty.counted as counted join duty.stay as stay using (stay_no)
    join record.unit as unit on unit.file_id = stay.file_id and unit.record_no = stay.record_no and unit.unit_id = stay.unit_id
    join last_look on last_look.unit_id = counted.unit_id
    join first_look on first_look.imo_number = counted.imo_number
    where greatest(counted.from_on, first_looked_on) < least(counted.to_on, last_looked_on + 1)
),
cut as (
    select imo_number, unit_id, from_on as day from watched_stay union select imo_number, unit_id, to_on from watched_stay
),
slice as (
    select imo_number, unit_id, day as from_on, lead(day) over (partition by imo_number, unit_id order by day) as to_on from cut
),
-- A day counts once, however many stays of a unit on one vessel overlap on it; the stay that began last tells what the unit is.
observed as (
    select slice.imo_number, slice.unit_id, agent, space_category, slice.from_on, slice.to_on
    from slice join watched_stay as stay on stay.imo_number = slice.imo_number and stay.unit_id = slice.unit_id
        and stay.from_on <= slice.from_on and slice.to_on <= stay.to_on
    qualify row_number() over (partition by slice.imo_number, slice.unit_id, slice.from_on
        order by began_on desc, in_service_on desc nulls last, stay_no) = 1
),
period as (
    select 'all' as period, date '0001-01-01' as start_on, $as_of::date + 1 as end_on
    union all select 'last 12 months', ($as_of::date + 1 - to_months(12))::date, $as_of::date + 1
    union all select year::varchar, make_date(year, 1, 1), least(make_date(year + 1, 1, 1), $as_of::date + 1)
    from (select distinct unnest(range(year(from_on), year(to_on - 1) + 1))::integer as year from observed)
),
exposure as (
    select period, imo_number, agent, space_category,
        sum(least(to_on, end_on) - greatest(from_on, start_on)) as unit_days
    from observed join period on greatest(from_on, start_on) < least(to_on, end_on) group by all
),
report as (
    select finding.*, coalesce(max(coalesce(closed_on, date '9999-12-31')) over earlier > found_on, false) as is_same_defect,
        count(*) over earlier > 0 as is_seen_before
    from record.finding as finding where found_on <= $as_of::date
    window earlier as (partition by unit_id, component, defect order by found_on rows between unbounded preceding and 1 preceding)
),
counted_report as (
    select period, report.*, observed.agent, observed.space_category
    from report
    join observed on observed.imo_number = report.imo_number and observed.unit_id = report.unit_id
        and report.found_on >= observed.from_on and report.found_on < observed.to_on
    join period on found_on >= start_on and found_on < end_on
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
select period, imo_number, component, defect, agent, space_category, coalesce(findings, 0) as findings, unit_years,
    100 * coalesce(findings, 0) / unit_years as per_100_unit_years, 100 * garwood_low(coalesce(findings, 0)) / unit_years as low,
    100 * garwood_high(coalesce(findings, 0)) / unit_years as high, coalesce(findings, 0) >= 10 as is_rated,
    coalesce(reports, 0) as reports, repeats / nullif(findings, 0) as repeat_share, coalesce(closed, 0) as closed,
    days_to_close_median
from row_wanted join watched using (period, imo_number, agent, space_category)
left join found using (period, imo_number, component, defect, agent, space_category)
where unit_years > 0 order by period, imo_number, component, defect, agent, space_category;
