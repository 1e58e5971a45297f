-- one row is a subject, who it is and what duty it is asked for, in the order of their names (a number is joined and grouped by in a
-- third of the time of three texts). A group is asked until its last unit has left for good, even where none was aboard meanwhile.
create temp table asked_subject as
select subject_no, coalesce(stay_no, -subject_no) as scope_key, imo_number, subject_id, duty,
    dense_rank() over (order by imo_number, subject_id, duty) as asked_no,
    max(coalesce(to_on, date '9999-12-31')) over (partition by rule_id, imo_number, subject_id,
        case when stay_no is not null then subject_no end) as asked_to
from duty.subject join duty.rule using (rule_id);

-- one row is a stretch of days on which a stay (or a group's stays: the key is the negative of its subject) counts, and its last day
create temp table asked_scope as
select scope_key, from_on, to_on, max(to_on) over (partition by scope_key) as last_on
from (
    select stay_no as scope_key, from_on, to_on from duty.counted
    union all
    select -subject_no, counted.from_on, counted.to_on
    from duty.subject as subject
    join duty.stay as stay on subject.stay_no is null and stay.imo_number = subject.imo_number
        and stay.group_id = subject.subject_id
    join duty.counted as counted on counted.stay_no = stay.stay_no
);

-- figure.due_service: one row is a service or test of a unit (or sample group) that fell due while it counted and while that rule was in force, before
-- $as_of: what falls due on the day itself is not late yet. done_on is null where it has not been done; stopped_on is the first
-- day from which it counts no more (the unit left for good, the vessel left, or another rule came). Where overlapping stays
-- have one due date, the later work governs. Work done early leaves its old due date in: done in time.
create table figure.due_service as
with first_month as (
    select date_trunc('month', coalesce(min(seen_on), $as_of::date))::date as start_on
    from (select min(inspected_on) as seen_on from record.inspection union all select min(serviced_on) from record.service)
    where seen_on <= $as_of::date
),
fell as (
    select asked_no, due_on, max(coalesce(done_on, date '9999-12-31')) as done_on, max(least(last_on, asked_to)) as stopped_on
    from duty.span join first_month on due_on >= start_on and due_on < $as_of::date
    join asked_subject using (subject_no)
    join asked_scope as scope on scope.scope_key = asked_subject.scope_key and is_within(due_on, scope.from_on, scope.to_on)
    where is_within(due_on, judged_from, judged_to)
    group by asked_no, due_on
)
select imo_number, subject_id as unit_id, duty, due_on, nullif(done_on, date '9999-12-31') as done_on, done_on <= due_on as is_in_time,
    stopped_on, least(last_day(due_on), $as_of::date) as month_end
from fell join (select distinct asked_no, imo_number, subject_id, duty from asked_subject) using (asked_no) order by asked_no, due_on;
drop table asked_subject;
drop table asked_scope;

-- one row is a vessel, a duty, what it is counted as (itself, or '*' where it counts for any) and a due date, with the first day of its
-- call. A call is what stands or falls together: a run of due dates of a vessel, each at most gap_days after the one before, whatever
-- month they lie in: 45 days, or a week for each month of a shorter interval. Runs longer than two gaps, and than 30 days, are cut into
-- equal parts. For any duty, runs are those of all duties of one pace together, and all that begin in one month are one call.
create temp table call_day as
with pace as (
    select duty, least(45, greatest(7, 7 * min(interval_months))) as gap_days, bool_or(in_any) as in_any from duty.rule group by duty
),
item as (
    select distinct imo_number, duty, duty as counted_as, gap_days, due_on from figure.due_service join pace using (duty)
    union all
    select distinct imo_number, duty, '*', gap_days, due_on from figure.due_service join pace using (duty) where in_any
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
select month_end, imo_number, counted_as as duty, call_on, count(*)::bigint as fell_due, count(*) filter (is_in_time)::bigint as done_in_time
from figure.due_service join call_day using (imo_number, duty, due_on) group by all order by all;
