-- figure.overdue_monthly: one row is a month, a vessel ('*' the fleet) and a duty ('*' any of those that count for it).
-- A stretch [from_on, to_on) adds 1 from from_on and takes it off at to_on, so that a count at the end of day E is the sum
-- of signs up to E, and what it adds to the unit-days of its month up to E is sign * (E - day + 1): no unit-by-day grid is needed.
create table figure.overdue_monthly as
-- the month of the first record, or of the first day on which a unit counts: before it there is nothing to tell
with first_month as (
    select date_trunc('month', greatest(coalesce(min(seen_on), $as_of::date), min(counted_on)))::date as start_on
    from (select min(inspected_on) as seen_on from record.inspection union all select min(serviced_on) from record.service),
        (select least(min(from_on), $as_of::date) as counted_on from figure.count_interval where measure = 'unit')
    where seen_on <= $as_of::date
),
month as (
    select start_on + to_months(n::integer) as started_at, least(last_day((start_on + to_months(n::integer))::date), $as_of::date) as month_end
    from first_month, range(0, 12 * 400) as series (n)
    where start_on + to_months(n::integer) <= $as_of::date
),
step as (
    select imo_number, duty, measure, from_on as day, 1 as sign from figure.count_interval
    union all
    select imo_number, duty, measure, to_on, -1 from figure.count_interval where to_on <= $as_of::date
),
bucketed as (
    select imo_number, duty, measure, sign, day - date '2000-01-01' as day_no,
        case when day < start_on then (start_on - 1)::date else least(last_day(day), $as_of::date) end as month_end
    from step, first_month
),
summed as (
    select imo_number, duty, month_end,
        (sum(sign) filter (measure = 'unit'))::bigint as unit_signs, (sum(sign * day_no) filter (measure = 'unit'))::bigint as unit_moments,
        (sum(sign) filter (measure = 'overdue'))::bigint as overdue_signs,
        (sum(sign * day_no) filter (measure = 'overdue'))::bigint as overdue_moments,
        (sum(sign) filter (measure = 'open'))::bigint as open_signs
    from bucketed group by imo_number, duty, month_end
),
spine as (
    select imo_number, duty, month_end
    from (select distinct imo_number, duty from summed),
        (select month_end from month union all select (start_on - 1)::date from first_month)
),
running as (
    select imo_number, duty, month_end, month_end - date '2000-01-01' + 1 as next_day_no,
        coalesce(sum(unit_signs) over so_far, 0) as units, coalesce(unit_signs, 0) as unit_signs, coalesce(unit_moments, 0) as unit_moments,
        coalesce(sum(overdue_signs) over so_far, 0) as overdue, coalesce(overdue_signs, 0) as overdue_signs,
        coalesce(overdue_moments, 0) as overdue_moments, coalesce(sum(open_signs) over so_far, 0) as open
    from spine left join summed using (imo_number, duty, month_end)
    window so_far as (partition by imo_number, duty order by month_end rows unbounded preceding)
),
-- those that counted before the month do so on each of its days, those that came in it from their day on
by_vessel as (
    select imo_number, duty, month_end, units, overdue, open - overdue as unknown,
        (units - unit_signs) * day(month_end) + unit_signs * next_day_no - unit_moments as unit_days,
        (overdue - overdue_signs) * day(month_end) + overdue_signs * next_day_no - overdue_moments as overdue_unit_days
    from running, first_month where month_end >= start_on
),
scoped as (
    select coalesce(imo_number, '*') as imo_number, duty, month_end, sum(units) as units, sum(overdue) as overdue,
        sum(unknown) as unknown, sum(unit_days) as unit_days, sum(overdue_unit_days) as overdue_unit_days
    from by_vessel
    group by grouping sets ((imo_number, duty, month_end), (duty, month_end))
)
select month_end, imo_number, duty, units::bigint as units, overdue::bigint as overdue, unknown::bigint as unknown,
    overdue / nullif(units - unknown, 0) as rate, overdue_unit_days::bigint as overdue_unit_days,
    unit_days::bigint as unit_days, overdue_unit_days / nullif(unit_days, 0) as days_rate
from scoped where unit_days > 0 order by month_end, imo_number, duty;
