-- one row is a service or test of a unit (or sample group) that fell due while it counted and while that rule was in force, before
-- $as_of: what falls due on the day itself is not late yet. done_on is null where it has not been done; stopped_on is the first
-- day from which it counts no more (the unit left for good, the vessel left, or another rule came). Where overlapping stays
-- have one due date, the later work governs. Work done early leaves its old due date in: done in time.
create temp table due_service as
with first_month as (
    select date_trunc('month', coalesce(min(seen_on), $as_of::date))::date as start_on
    from (select min(inspected_on) as seen_on from record.inspection union all select min(serviced_on) from record.service)
    where seen_on <= $as_of::date
),
scope as (
    select stay_no as scope_key, imo_number, unit_id, from_on, to_on from duty.counted
    union all
    select -subject_no, counted.imo_number, subject.subject_id, counted.from_on, counted.to_on
    from duty.subject as subject
    join duty.stay as stay on subject.stay_no is null and stay.imo_number = subject.imo_number
        and stay.group_id = subject.subject_id
    join duty.counted as counted on counted.stay_no = stay.stay_no
),
leaving as (select scope_key, max(to_on) as last_on from scope group by scope_key),
fell as (
    select scope.imo_number, scope.unit_id, duty, due_on, coalesce(done_on, date '9999-12-31') as done_on,
        least(last_on, asked_to) as stopped_on
    from duty.span join first_month on due_on >= start_on and due_on < $as_of::date
    join (
        -- A group is asked until its last unit has left for good, even where none was aboard meanwhile.
        select subject_no, max(coalesce(to_on, date '9999-12-31')) over (partition by rule_id, imo_number, subject_id,
            case when stay_no is not null then subject_no end) as asked_to from duty.subject
    ) using (subject_no)
    join scope on scope_key = coalesce(stay_no, -subject_no) and is_within(due_on, scope.from_on, scope.to_on)
    join leaving using (scope_key)
    where is_within(due_on, judged_from, judged_to)
)
select imo_number, unit_id, duty, due_on, nullif(max(done_on), date '9999-12-31') as done_on, max(done_on) <= due_on as is_in_time,
    max(stopped_on) as stopped_on, least(last_day(due_on), $as_of::date) as month_end
from fell group by imo_number, unit_id, duty, due_on;

-- figure.on_time_monthly: one row is a month, a vessel ('*' the fleet) and a duty ('*' those that count for any): what fell due in it
-- and how much was done by its due date. `unknown` counts the items whose date can't be told on month_end. Limits of the fleet
-- take vessels as what stands or falls together; one month of one vessel is one such cluster and has no limits.
create table figure.on_time_monthly as
with in_any as (select distinct duty from duty.rule where in_any),
told as (
    select imo_number, duty, month_end, count(*) as fell_due, count(*) filter (is_in_time) as done_in_time, 0 as unknown
    from due_service group by imo_number, duty, month_end
    union all
    select imo_number, duty, month_end, 0, 0, unknown from figure.overdue_monthly
    where imo_number <> '*' and duty <> '*' and unknown > 0
),
each as (
    select imo_number, duty, month_end, fell_due, done_in_time, unknown from told
    union all
    select imo_number, '*', month_end, fell_due, done_in_time, unknown from told semi join in_any using (duty)
)
select month_end, coalesce(imo_number, '*') as imo_number, duty, sum(fell_due)::bigint as fell_due,
    sum(done_in_time)::bigint as done_in_time, sum(unknown)::bigint as unknown,
    sum(done_in_time) / nullif(sum(fell_due), 0) as rate, null::double as low, null::double as high,
    count(distinct imo_number) filter (fell_due > 0) as clusters, null::varchar as flags
from each group by grouping sets ((month_end, imo_number, duty), (month_end, duty))
order by month_end, imo_number, duty;

-- figure.on_time_year: one row is twelve months, a vessel ('*' the fleet) and a duty ('*' those that count for any): the share done in
-- time with limits that allow for services that are late together (by vessel and due month), Wilson's limits beside it as if each
-- stood alone, the vessel's place in the funnel of the fleet, and the change on the 12 months before. Months count whole, the
-- last runs to the day. effective_services rests on the row's own clusters; funnel_services and the limits of the change on how
-- much services of all vessels are late together.
create table figure.on_time_year (
    period varchar, from_on date, to_on date, imo_number varchar, duty varchar, fell_due bigint, done_in_time bigint, rate double,
    low double, high double, clusters bigint, effective_services double, wilson_low double, wilson_high double, shown varchar,
    why_not varchar, caution varchar, funnel_services double, funnel_centre double, funnel_low_95 double, funnel_high_95 double,
    funnel_low_998 double, funnel_high_998 double, funnel_phi double, funnel_tau2 double, flag varchar, least_ratio double, difference double,
    difference_low double, difference_high double, change varchar
);

-- figure.on_time_chart: one row is a month of the fleet and a duty ('*' those that count for any) on Laney's p'-chart: limits from the
-- first 24 months [baseline_from, baseline_to], which stay as they are. ewma and its limits are in standard deviations of a
-- month. The runs_ columns are those of the last 24 months up to the day about the baseline's median, the same on each row of a duty.
create table figure.on_time_chart (
    month_end date, duty varchar, fell_due bigint, done_in_time bigint, rate double, baseline_from date, baseline_to date,
    baseline_months bigint, centre double, low double, high double, sigma_z double, is_outside boolean, ewma double, ewma_low double,
    ewma_high double, is_drifting boolean, runs_points bigint, runs_longest bigint, runs_allowed bigint, crossings bigint,
    crossings_least bigint, is_run_signal boolean, why_not varchar
);
