-- one row is a span, begun by $as_of, of the unit $unit_id or of a sample group it belongs to, with the files behind its dates
select span.duty, rule.title, rule.interval_months, rule.source, rule.clause, rule.certainty, rule.rule_id, span.imo_number,
    case when span.stay_no is null then span.unit_id end as group_id, span.stay_no, subject.began_on, span.judged_from, span.judged_to, rule.counts,
    rule.grace_months, rule.anchor, rule.regime, rule.breach_label, subject.left_on, span.basis_on, span.basis_kind, basis.path as basis_path, span.basis_line_no,
    span.basis_record_no, span.due_on, span.done_on, span.done_kind, done.path as done_path, span.done_line_no, span.done_record_no
from duty.span as span join duty.rule as rule using (rule_id)
join duty.subject as subject on subject.subject_no = span.subject_no
left join intake.file as basis on basis.file_id = span.basis_file_id
left join intake.file as done on done.file_id = span.done_file_id
where (span.is_first or span.basis_on <= $as_of::date) and coalesce(span.judged_from <= $as_of::date, true)
    and (span.stay_no is not null and span.unit_id = $unit_id
        or span.stay_no is null and (span.imo_number, span.unit_id) in (
            select (imo_number, group_id) from duty.sample_group where unit_id = $unit_id and joined_on <= $as_of::date))
order by rule.duty, rule.counts, subject.began_on, span.imo_number, span.unit_id, span.stay_no, span.judged_from, span.basis_on nulls first
