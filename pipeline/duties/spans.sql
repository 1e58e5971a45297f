-- duty.span: one row is a basis and what fell due from it under one rule. It counts on the days [judged_from, judged_to) on which
-- that rule is in force (an open end is null). Overdue on D: due_on < D and (done_on is null or done_on > D), judged then.
-- Spans that ended before the rule's days aboard began are left out; a span without basis_on is one whose due date nobody can
-- tell. planned_on is the day it was planned for, due_on the last day in time: they differ where a rule gives grace.
-- It is made slice by slice, so that its windows fit into memory: subjects are numbered vessel by vessel.
create table duty.span as
with ranked as (
    select subject_no, basis_on, done_on, proof, row_number() over later as event_no, lead(done_on) over later as next_on,
        lead(proof) over later as next_proof
    from duty.subject_event where subject_no between $first and $last window later as (partition by subject_no order by done_on)
),
asked as (
    select subject.*, duty, anchor, rule.first_basis, interval_months, grace_months
    from duty.subject as subject join duty.rule as rule using (rule_id) where subject_no between $first and $last
),
first_event as (
    select subject_no, min(done_on) as done_on, arg_min(proof, done_on) as done from duty.subject_event
    where subject_no between $first and $last group by subject_no
),
linked as (
    select asked.* exclude (from_on, to_on), false as is_first, event_no, basis_on, proof as basis, next_on as done_on, next_proof as done,
        case when basis_on < ranked.done_on then greatest(from_on, ranked.done_on) else from_on end as judged_from, to_on as judged_to
    from ranked join asked using (subject_no) where asked.first_basis <> 'none'
    union all by name
    select asked.* exclude (from_on, to_on), true as is_first, 0 as event_no, basis_on, basis, done_on, done, begun.from_on as judged_from,
        begun.to_on as judged_to
    from duty.first_basis as begun join asked using (subject_no) left join first_event using (subject_no)
    where asked.first_basis <> 'none' and (done_on is null or done_on > begun.from_on)
    union all by name
    select asked.* exclude (from_on, to_on), false as is_first, 0 as event_no, basis_on, basis, done_on, done, from_on as judged_from,
        to_on as judged_to
    from called_for join asked using (subject_no)
),
dated as (
    select linked.*, case when anchor = 'due' then due_date(started_on, times * interval_months)
        else due_date(basis_on, interval_months) end as planned_on
    from linked left join plan on plan.subject_no = linked.subject_no and plan.event_no = linked.event_no
)
select imo_number, subject_id as unit_id, duty, rule_id, subject_no, stay_no, is_first, basis_on, basis.kind as basis_kind,
    basis.file_id as basis_file_id, basis.record_no as basis_record_no, basis.line_no as basis_line_no,
    due_date(planned_on, coalesce(grace_months, 0)) as due_on, planned_on, judged_from, judged_to,
    dated.done_on, done.kind as done_kind, done.file_id as done_file_id, done.record_no as done_record_no,
    done.line_no as done_line_no
from dated
where (dated.done_on is null or dated.done_on > judged_from) and (judged_to is null or is_first or dated.basis_on < judged_to)
order by asked_no, basis_on, subject_no;
