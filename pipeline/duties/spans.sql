-- duty.span: one row is a basis and what fell due from it. Overdue on D: due_on < D and (done_on is null or done_on > D).
-- Spans that ended before the stay began are left out; a span without basis_on is one whose due date nobody can tell.
create table duty.span as
with chained as (
    select subject_no, false as is_first, done_on as basis_on, proof as basis, lead(done_on) over later as done_on,
        lead(proof) over later as done
    from duty.subject_event
    window later as (partition by subject_no order by done_on)
),
first_event as (
    select subject_no, min(done_on) as done_on, arg_min(proof, done_on) as done from duty.subject_event group by subject_no
),
linked as (
    select * from chained
    union all by name
    select subject_no, true as is_first, first_basis_on as basis_on, first_proof as basis, done_on, done
    from duty.subject left join first_event using (subject_no)
    where done_on is null or done_on > from_on
)
select imo_number, subject_id as unit_id, duty, rule_id, subject_no, stay_no, is_first, basis_on, basis.kind as basis_kind,
    basis.file_id as basis_file_id, basis.record_no as basis_record_no, basis.line_no as basis_line_no,
    due_date(basis_on, interval_months) as due_on, linked.done_on, done.kind as done_kind, done.file_id as done_file_id,
    done.record_no as done_record_no, done.line_no as done_line_no
from linked join duty.subject as subject using (subject_no) join duty.rule as rule using (rule_id)
where (linked.done_on is null or linked.done_on > subject.from_on)
    and (subject.to_on is null or is_first or linked.basis_on < subject.to_on)
order by imo_number, subject_id, duty, basis_on, subject_no;
