-- one row is a vessel, a duty and a due date: what fell due on it and was done in time
create temp table due_day as
select imo_number, duty, due_on, month_end, count(*)::bigint as fell_due, count(*) filter (is_in_time)::bigint as done_in_time
from figure.due_service group by imo_number, duty, due_on, month_end;

-- one row is a vessel, a duty, what it is counted as (itself, or '*' where it counts for any) and a due date, with the first day of its
-- call. A call is what stands or falls together: a run of due dates of a vessel, each at most gap_days after the one before, whatever
-- month they lie in: 45 days, or a week for each month of a shorter interval. Runs longer than two gaps, and than 30 days, are cut into
-- equal parts. For any duty, runs are those of all duties of one pace together, and all that begin in one month are one call.
create temp table call_day as
with pace as (
    select duty, least(45, greatest(7, 7 * min(interval_months))) as gap_days, bool_or(in_any) as in_any from duty.rule group by duty
),
item as (
    select imo_number, duty, duty as counted_as, gap_days, due_on from due_day join pace using (duty)
    union all
    select imo_number, duty, '*', gap_days, due_on from due_day join pace using (duty) where in_any
),
marked as (
    select *, coalesce(due_on - lag(due_on) over (partition by imo_number, counted_as, gap_days order by due_on) > gap_days, true) as is_new
    from item
),
run as (
    select *, count(*) filter (is_new) over (partition by imo_number, counted_as, gap_days order by due_on) as run_no from marked
),
measured as (
    select *, min(due_on) over whole as from_on, max(due_on) over whole - min(due_on) over whole + 1 as days
    from run window whole as (partition by imo_number, counted_as, gap_days, run_no)
),
cut as (select *, (due_on - from_on) * ceil(days / greatest(30, 2 * gap_days))::integer // days as part_no from measured),
begun as (select *, min(due_on) over (partition by imo_number, counted_as, gap_days, run_no, part_no) as part_on from cut)
select imo_number, duty, counted_as, due_on,
    case when counted_as = '*' then date_trunc('month', part_on)::date else part_on end as call_on
from begun;

-- one row is a month, a vessel, a duty ('*' those that count for any) and a call: what fell due in it and was done in time
create temp table due_call as
select month_end, imo_number, counted_as as duty, call_on, sum(fell_due)::bigint as fell_due,
    sum(done_in_time)::bigint as done_in_time
from due_day join call_day using (imo_number, duty, due_on) group by all order by all;
drop table due_day;
drop table asked_subject;
drop table asked_scope;
