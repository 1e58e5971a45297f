-- one row is a doubt: a satisfactory record that states another next due date than the rule gives
with stating as (
    select 'inspection' as table_name, 'onboard_check' as duty, inspected_on as done_on, stated_next_due_on, file_id, record_no, line_no
    from record.inspection where outcome = 'satisfactory'
    union all
    select 'service', kind, serviced_on, stated_next_due_on, file_id, record_no, line_no
    from record.service where outcome = 'satisfactory' and kind in ('annual_service', 'pressure_test')
)
select 'stated-due-differs' as rule, table_name, file_id, record_no, line_no, 'stated_next_due_on' as column_name,
    'of ' || stated_next_due_on::varchar || ', the rule gives ' || due_date(done_on, interval_months)::varchar as value
from stating join duty.rule as rule using (duty)
where stated_next_due_on <> due_date(done_on, interval_months);
