-- one row is a piece of work of a subject whose dates run from the day due. Each within its window moves the plan on by one interval,
-- counted from the day on which the plan started, so that ends of months don't drift. Work done earlier, or a whole interval late,
-- starts anew.
create temp table planned_event as
select subject_no, done_on, row_number() over (partition by subject_no order by done_on) as event_no
from duty.subject_event semi join (
    select subject_no from duty.subject join duty.rule using (rule_id) where anchor = 'due'
) as planned using (subject_no);
create temp table plan as
with recursive plan as (
    select subject_no, 0::bigint as event_no, min(basis_on) as started_on, 1 as times
    from duty.first_basis join duty.subject using (subject_no) join duty.rule using (rule_id) where anchor = 'due' group by subject_no
    union all
    select plan.subject_no, event.event_no,
        case when keeps_plan(started_on, times, interval_months, window_before_months, done_on) then started_on else done_on end,
        case when keeps_plan(started_on, times, interval_months, window_before_months, done_on) then times + 1 else 1 end
    from plan join planned_event as event on event.subject_no = plan.subject_no and event.event_no = plan.event_no + 1
    join duty.subject as subject on subject.subject_no = plan.subject_no join duty.rule as rule using (rule_id)
)
select * from plan;
drop table planned_event;

-- one row is what falls due for a subject because something was found, and ends with the first record that satisfies the rule from
-- that day on
create temp table called_for as
with triggered as (
    select subject_no, found_on as basis_on, min({'record': 'finding', 'kind': finding.component || ' ' || finding.defect, 'file_id': finding.file_id,
        'record_no': finding.record_no, 'line_no': finding.line_no}) as basis
    from duty.subject as subject join duty.triggered_by as wanted using (rule_id)
    join record.finding as finding on finding.unit_id = subject.subject_id
        and (wanted.component is null or wanted.component = finding.component)
        and (wanted.defect is null or wanted.defect = finding.defect)
        and (wanted.severity is null or wanted.severity = finding.severity)
    where coalesce(found_on < left_on, true)
    group by subject_no, found_on
)
select triggered.subject_no, triggered.basis_on, basis, min(done_on) as done_on, arg_min(proof, done_on) as done
from triggered left join duty.subject_event as event on event.subject_no = triggered.subject_no and event.done_on >= triggered.basis_on
group by triggered.subject_no, triggered.basis_on, basis;
