-- turn: one row is a stretch of days on which a unit was watched, cut where another provider's work begins: a look belongs to one of them.
-- Looks are counted by its number, for a number is grouped by in a third of the time of five texts.
create temp table turn as
select row_number() over (order by observed.unit_id, imo_number, observed.from_on, served.from_on) as turn_no, observed.unit_id, imo_number,
    agent, space_category, maker, served.provider,
    greatest(observed.from_on, served.from_on) as from_on, least(observed.to_on, served.to_on) as to_on
from figure.observed as observed join figure.served as served on served.unit_id = observed.unit_id
    and served.from_on < observed.to_on and observed.from_on < served.to_on;

-- figure.defect_rate: one row is a period, a vessel, a component and defect, an agent, a kind of space, a maker, a provider ('*' = all
-- of them): distinct defects found per 100 unit-years under observation, with Garwood limits. A defect that is reported again while
-- still open counts once. Where no unit was watched there is no rate: a finding of a day after the last watched one stands with null.
-- Provider: whose service was the unit's last before that day; `inspections` are days on which somebody looked at a unit.
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
    select period, imo_number, agent, space_category, maker, provider,
        sum(least(to_on, end_on) - greatest(from_on, start_on)) as unit_days
    from turn join period on greatest(from_on, start_on) < least(to_on, end_on) group by all
),
-- by year first: the periods are years and two that a day's year and nearness tell
look_year as (
    select year, is_recent, imo_number, agent, space_category, maker, provider, sum(looks) as looks
    from (
        select turn_no, year(looked_on)::integer as year, looked_on >= ($as_of::date + 1 - to_months(12))::date as is_recent,
            count(*) as looks
        from figure.look as look join turn on turn.unit_id = look.unit_id and turn.imo_number = look.imo_number
            and from_on <= looked_on and looked_on < to_on
        group by all
    ) join turn using (turn_no)
    group by all
),
looked as (
    select period, imo_number, agent, space_category, maker, provider, sum(looks) as inspections
    from look_year join period on period = 'all' or (period = 'last 12 months' and is_recent) or period = year::varchar group by all
),
counted_report as (
    select period, report.* from figure.defect_report as report join period on found_on >= start_on and found_on < end_on
    where is_counted
),
found as (
    select period, coalesce(imo_number, '*') as imo_number, coalesce(component, '*') as component, coalesce(defect, '*') as defect,
        coalesce(agent, '*') as agent, coalesce(space_category, '*') as space_category, coalesce(maker, '*') as maker,
        coalesce(provider, '*') as provider,
        count(*) filter (not is_same_defect) as findings, count(*) as reports,
        count(*) filter (not is_same_defect and is_seen_before) as repeats,
        count(*) filter (not is_same_defect and closed_on <= $as_of::date) as closed,
        median(closed_on - found_on) filter (not is_same_defect and closed_on <= $as_of::date) as days_to_close_median
    from counted_report
    group by grouping sets ((period), (period, imo_number), (period, component, defect), (period, agent), (period, space_category),
        (period, maker), (period, provider), (period, imo_number, component, defect), (period, component), (period, defect))
),
whole as (
    select period, coalesce(imo_number, '*') as imo_number, coalesce(agent, '*') as agent,
        coalesce(space_category, '*') as space_category, coalesce(maker, '*') as maker, coalesce(provider, '*') as provider,
        sum(unit_days) as unit_days, sum(inspections)::bigint as inspections
    from (from exposure union all by name from looked)
    group by grouping sets ((period), (period, imo_number), (period, agent), (period, space_category), (period, maker),
        (period, provider))
),
watched as (select * exclude (unit_days), unit_days / 365.25 as unit_years from whole where unit_days > 0),
row_wanted as (
    select period, imo_number, component, defect, agent, space_category, maker, provider from found
    union select period, imo_number, '*', '*', agent, space_category, maker, provider from watched
),
filled as (
    select * replace (coalesce(findings, 0) as findings), coalesce(watched.unit_years, 0) as watched_years
    from row_wanted left join watched using (period, imo_number, agent, space_category, maker, provider)
    left join found using (period, imo_number, component, defect, agent, space_category, maker, provider)
),
-- a limit takes a fifth of a millisecond, and most rows share their count with others
limited as (
    select findings, garwood_low(findings) as low_count, garwood_high(findings) as high_count from (select distinct findings from filled)
)
select period, imo_number, component, defect, agent, space_category, findings, watched_years as unit_years,
    100 * findings / filled.unit_years as per_100_unit_years, 100 * low_count / filled.unit_years as low, 100 * high_count / filled.unit_years as high,
    findings >= 10 and filled.unit_years is not null as is_rated, coalesce(reports, 0) as reports,
    repeats / nullif(findings, 0) as repeat_share, coalesce(closed, 0) as closed, days_to_close_median, maker, provider,
    coalesce(inspections, 0) as inspections, 100 * findings / nullif(inspections, 0) as per_100_inspections
from filled join limited using (findings)
order by period, imo_number, component, defect, agent, space_category, maker, provider;
drop table turn;
