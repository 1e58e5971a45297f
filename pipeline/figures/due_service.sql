-- figure.due_service: one row is a service or test of a unit (or sample group) that fell due while it counted and while that rule was in force, before
-- $as_of: what falls due on the day itself is not late yet. done_on is null where it has not been done; stopped_on is the first
-- day from which it counts no more (the unit left for good, the vessel left, or another rule came). Where overlapping stays
-- have one due date, the later work governs. Work done early leaves its old due date in: done in time. Made slice by slice, as duty.span.
create table figure.due_service as
with first_month as (
    select date_trunc('month', coalesce(min(seen_on), $as_of::date))::date as start_on
    from (select min(inspected_on) as seen_on from record.inspection union all select min(serviced_on) from record.service)
    where seen_on <= $as_of::date
),
asked_name as (
    select distinct asked_no, imo_number, subject_id, duty from duty.subject join duty.rule using (rule_id)
    where subject_no between $first and $last
),
fell as (
    select asked_no, due_on, max(coalesce(done_on, date '9999-12-31')) as done_on, max(least(last_on, asked_to)) as stopped_on
    from duty.span join first_month on due_on >= start_on and due_on < $as_of::date and span.subject_no between $first and $last
    join (from asked_subject where subject_no between $first and $last) as asked_subject using (subject_no)
    join asked_scope as scope on scope.scope_key = asked_subject.scope_key and is_within(due_on, scope.from_on, scope.to_on)
    where is_within(due_on, judged_from, judged_to)
    group by asked_no, due_on
)
select imo_number, subject_id as unit_id, duty, due_on, nullif(done_on, date '9999-12-31') as done_on, done_on <= due_on as is_in_time,
    stopped_on, least(last_day(due_on), $as_of::date) as month_end
from fell join asked_name using (asked_no) order by asked_no, due_on;
