-- duty.event: one row is a day on which a unit satisfied a rule, with one record that proves it
create table duty.event as
with looked as (
    select unit_id, inspected_on as done_on, 'inspection' as record, null as kind, file_id, record_no
    from record.inspection where outcome = 'satisfactory'
    union all
    select unit_id, serviced_on, 'service', kind, file_id, record_no
    from record.service where outcome = 'satisfactory'
)
select rule_id, unit_id, done_on, proof.kind as kind, proof.file_id as file_id, proof.record_no as record_no
from (
    select rule_id, unit_id, done_on,
        min({'record': looked.record, 'kind': coalesce(looked.kind, looked.record), 'file_id': file_id, 'record_no': record_no})
            as proof
    from looked
    join duty.satisfied_by as wanted
        on wanted.record = looked.record and (wanted.kind is null or wanted.kind = looked.kind)
    group by rule_id, unit_id, done_on
);

-- duty.subject: one row is what a rule is asked of: a stay, or a sample group aboard a vessel, with its first basis
create table duty.subject as
select row_number() over (order by rule_id, imo_number, subject_id, stay_no) as subject_no, *
from (
    select rule_id, stay.imo_number, stay.unit_id as subject_id, stay_no, from_on, to_on,
        case rule.first_basis when 'service_start' then from_on else made_on end as first_basis_on,
        case when rule.first_basis = 'service_start' and not is_start_from_manufacture then 'in_service_on'
            else 'made_on' end as first_basis_kind,
        file_id as first_file_id, record_no as first_record_no
    from duty.stay as stay join duty.rule as rule
        on rule.counts = 'unit' and (rule.forms is null or list_contains(rule.forms, stay.form))
    where from_on is not null
    union all
    select rule_id, member.imo_number, group_id, null, min(from_on),
        case when count(*) = count(to_on) then max(to_on) end, min(made_on), 'made_on',
        arg_min(file_id, (made_on, unit_id)), arg_min(record_no, (made_on, unit_id))
    from duty.sample_group as member join duty.stay using (imo_number, unit_id, group_id)
    group by rule_id, member.imo_number, group_id
);

-- duty.subject_event: one row is a day on which a subject's rule was satisfied, whichever vessel carried the unit then
create table duty.subject_event as
select subject_no, done_on, kind, event.file_id, event.record_no
from duty.subject as subject join duty.event as event
    on event.rule_id = subject.rule_id and event.unit_id = subject.subject_id
where stay_no is not null
union all
select subject_no, done_on, min(kind), arg_min(event.file_id, (event.file_id, event.record_no)),
    arg_min(event.record_no, (event.file_id, event.record_no))
from duty.subject as subject
join duty.sample_group as member
    on member.rule_id = subject.rule_id and member.imo_number = subject.imo_number and member.group_id = subject.subject_id
join duty.event as event on event.rule_id = subject.rule_id and event.unit_id = member.unit_id
where stay_no is null
group by subject_no, done_on;

-- duty.span: one row is a basis and what fell due from it. Overdue on D: due_on < D and (done_on is null or done_on > D).
-- Spans that ended before the stay began are left out; a span without basis_on is one whose due date nobody can tell.
create table duty.span as
with chained as (
    select subject_no, done_on as basis_on, kind as basis_kind, file_id as basis_file_id, record_no as basis_record_no,
        lead(done_on) over later as done_on, lead(kind) over later as done_kind,
        lead(file_id) over later as done_file_id, lead(record_no) over later as done_record_no
    from duty.subject_event
    window later as (partition by subject_no order by done_on)
),
first_event as (
    select subject_no, min(done_on) as done_on, arg_min(kind, done_on) as done_kind,
        arg_min(file_id, done_on) as done_file_id, arg_min(record_no, done_on) as done_record_no
    from duty.subject_event group by subject_no
),
linked as (
    select subject_no, false as is_first, * exclude (subject_no) from chained
    union all by name
    select subject_no, true as is_first, first_basis_on as basis_on, first_basis_kind as basis_kind,
        first_file_id as basis_file_id, first_record_no as basis_record_no, done_on, done_kind, done_file_id, done_record_no
    from duty.subject left join first_event using (subject_no)
    where done_on is null or done_on > from_on
)
select imo_number, subject_id as unit_id, duty, rule_id, subject_no, stay_no, is_first, basis_on, basis_kind,
    basis_file_id, basis_record_no, due_date(basis_on, interval_months) as due_on, linked.done_on, done_kind, done_file_id,
    done_record_no
from linked join duty.subject as subject using (subject_no) join duty.rule as rule using (rule_id)
where (linked.done_on is null or linked.done_on > subject.from_on)
    and (subject.to_on is null or is_first or linked.basis_on < subject.to_on)
order by imo_number, subject_id, duty, basis_on;
