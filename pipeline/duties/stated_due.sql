-- one row is a doubt: a satisfactory record that states another next due date than the rule gives
with stating as (
    select 'inspection' as table_name, 'onboard_check' as duty, unit_id, inspected_on as done_on, stated_next_due_on, file_id, record_no, line_no
    from record.inspection where outcome = 'satisfactory' and stated_next_due_on is not null
    union all
    select 'service', kind, unit_id, serviced_on, stated_next_due_on, file_id, record_no, line_no
    from record.service where outcome = 'satisfactory' and stated_next_due_on is not null and kind in ('annual_service', 'pressure_test')
)
select 'stated-due-differs' as rule, table_name, stating.file_id, stating.record_no, stating.line_no, 'stated_next_due_on' as column_name,
    'of ' || stated_next_due_on::varchar || ', the rule gives ' || min(due_on)::varchar as value
from stating join duty.span as span on span.duty = stating.duty and span.unit_id = stating.unit_id and span.basis_on = stating.done_on
    and not span.is_first
-- The rule in force on the day of the record, else the first that looks at it: a later rule does not make it doubtful.
where span.judged_from = (select min(judged_from) from duty.span as other where other.duty = span.duty and other.unit_id = span.unit_id
    and other.basis_on = span.basis_on and not other.is_first)
group by table_name, stating.file_id, stating.record_no, stating.line_no, stated_next_due_on
having not bool_or(stated_next_due_on in (due_on, planned_on));
