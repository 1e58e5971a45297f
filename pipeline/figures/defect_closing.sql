-- figure.defect_closing: one row is a period in which it was found ('all', 'last 12 months'), a severity and a vessel ('*' = all):
-- distinct defects, those closed by $as_of, and by when half and nine in ten are put right (days from the find; those still open are
-- known to have lasted until $as_of). Finds of one vessel and
-- month go together in the limits. Null with why_not where that can't be told.
create table figure.defect_closing (
    period text, severity text, imo_number text, defects bigint, closed bigint, closed_same_day bigint, still_open bigint,
    median_days double, median_low double, median_high double, p90_days double, p90_low double, p90_high double, why_not text
);

-- figure.defect_lasting: one row is a distinct defect on a unit under observation: first found, its worst severity, and the day on which
-- all reports of it were closed; null: still open on $as_of.
create table figure.defect_lasting as
select unit_id, component, defect, defect_no, arg_min(imo_number, found_on) as imo_number, min(found_on) as found_on,
    coalesce(arg_max(severity, list_position(['minor', 'major', 'unfit'], severity)), 'not stated') as severity,
    case when bool_and(coalesce(closed_on <= $as_of::date, false)) then greatest(max(closed_on), min(found_on)) end as closed_on
from figure.defect_report where is_counted group by unit_id, component, defect, defect_no
order by unit_id, component, defect, defect_no;

-- figure.defect_repeat: one row is a period and a component ('*' = all): of the distinct defects found, those that the same unit had had
-- before, closed and then found anew, with Wilson's limits of the share. As if independent; null below 10.
create table figure.defect_repeat as
with told as (
    select period, report.* from figure.defect_report as report
    join (values ('all', date '0001-01-01'), ('last 12 months', ($as_of::date + 1 - to_months(12))::date)) as span (period, start_on)
        on found_on >= start_on
    where is_counted and not is_same_defect
),
counted as (
    select period, coalesce(component, '*') as component, count(*) as findings, count(*) filter (is_seen_before) as repeats
    from told group by grouping sets ((period), (period, component))
)
select period, component, findings, repeats, if(findings < 10, null, repeats / findings) as share,
    if(findings < 10, null, wilson_low(repeats, findings)) as low, if(findings < 10, null, wilson_high(repeats, findings)) as high
from counted order by period, component;

-- one row is a distinct defect: how long it lasted, or has lasted, and the month of the find
create temp table closing_time as
select severity, imo_number, coalesce(closed_on, $as_of::date) - found_on as days, closed_on is not null as is_closed,
    12 * year(found_on) + month(found_on) as month_no, found_on >= ($as_of::date + 1 - to_months(12))::date as is_late
from figure.defect_lasting;
