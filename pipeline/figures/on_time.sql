-- figure.on_time_monthly: one row is a month, a vessel ('*' the fleet) and a duty ('*' those that count for any): what fell due in it
-- and how much was done by its due date. `unknown` counts the items whose date can't be told on month_end. Limits of the fleet
-- take vessels as what stands or falls together; one month of one vessel is one such cluster and has no limits.
create table figure.on_time_monthly as
with in_any as (select distinct duty from duty.rule where in_any),
told as (
    select imo_number, duty, month_end, fell_due, done_in_time, 0 as unknown from due_call where duty <> '*'
    union all
    select imo_number, duty, month_end, 0, 0, unknown from figure.overdue_monthly
    where imo_number <> '*' and duty <> '*' and unknown > 0
),
each as (
    select imo_number, duty, month_end, fell_due, done_in_time, unknown from told
    union all
    select imo_number, '*', month_end, fell_due, done_in_time, unknown from told semi join in_any using (duty)
),
summed as (
    select month_end, coalesce(imo_number, '*') as imo_number, duty, sum(fell_due)::bigint as fell_due, sum(done_in_time)::bigint as done_in_time,
        sum(unknown)::bigint as unknown, count(distinct imo_number) filter (fell_due > 0) as clusters
    from each group by grouping sets ((month_end, imo_number, duty), (month_end, duty))
)
-- 3 vessels have limits, 8 are many: LEAST_CLUSTERS and FEW_CLUSTERS of the statistics
select month_end, imo_number, duty, fell_due, done_in_time, unknown, done_in_time / nullif(fell_due, 0) as rate, null::double as low,
    null::double as high, clusters,
    nullif(concat_ws('; ', case when fell_due = 0 then 'nothing fell due' end,
        case when fell_due > 0 and clusters < 3 then 'too few to have limits' end, case when clusters between 3 and 7 then 'limits of few vessels' end,
        case when month_end = $as_of::date then 'month not over' end,
        case when 20 * unknown > fell_due + unknown then 'more than 5 % unknown' end), '') as flags
from summed order by month_end, imo_number, duty;

-- figure.on_time_year: one row is twelve months, a vessel ('*' the fleet) and a duty ('*' those that count for any): the share done in
-- time with limits that allow for services that are late together (by vessel and call), Wilson's limits beside it as if each
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
-- month. The runs_ columns are those of the last 24 months up to the day about the baseline's median, the same on each row of a duty;
-- so are the trend_ columns: years of 12 months counted back from the last, the middle slope of their shares a year, and its p (from 5 years on).
create table figure.on_time_chart (
    month_end date, duty varchar, fell_due bigint, done_in_time bigint, rate double, baseline_from date, baseline_to date,
    baseline_months bigint, centre double, low double, high double, sigma_z double, is_outside boolean, ewma double, ewma_low double,
    ewma_high double, is_drifting boolean, runs_points bigint, runs_longest bigint, runs_allowed bigint, crossings bigint,
    crossings_least bigint, is_run_signal boolean, trend_years bigint, trend_a_year double, trend_p double, why_not varchar
);
