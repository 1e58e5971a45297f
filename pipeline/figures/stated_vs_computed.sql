-- figure.stated_vs_computed: one row is a satisfactory record from which a unit's next date runs on $as_of, and that states
-- another date than the rule in force on that day gives. difference_days is stated minus computed: above 0, the record says later
-- than the rule. computed_on is the last day in time; a record that states the planned day of a rule with grace says the same and
-- is left out. A record that a later one has overtaken is left out, so there is one row at most for a unit aboard and a duty.
create table figure.stated_vs_computed as
with stating as (
    select 'inspection' as table_name, 'onboard_check' as duty, unit_id, inspected_on as done_on, stated_next_due_on, file_id,
        record_no, line_no
    from record.inspection where outcome = 'satisfactory'
    union all
    select 'service', kind, unit_id, serviced_on, stated_next_due_on, file_id, record_no, line_no
    from record.service where outcome = 'satisfactory' and kind in ('annual_service', 'pressure_test')
),
open_span as (
    select distinct imo_number, unit_id, duty, rule_id, basis_on, due_on, planned_on
    from duty.span as span semi join figure.unit_now using (imo_number, unit_id)
    where stay_no is not null and not is_first and basis_on <= $as_of::date and (done_on is null or done_on > $as_of::date)
        and is_within($as_of::date, judged_from, judged_to)
)
select imo_number, unit_id, duty, done_on, stated_next_due_on as stated_on, due_on as computed_on,
    stated_next_due_on - due_on as difference_days, rule_id, table_name, file_id, record_no, line_no
from stating join open_span using (unit_id, duty)
where basis_on = done_on and stated_next_due_on not in (due_on, planned_on)
qualify row_number() over (partition by imo_number, unit_id, duty order by due_on, file_id, record_no) = 1
order by abs(difference_days) desc, imo_number, unit_id, duty;
