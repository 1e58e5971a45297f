-- one row is a doubt about a loaded record, told from the records alone: rule, table_name, file_id, record_no, line_no, column_name, value
with stay as (
    select unit_id, imo_number, coalesce(in_service_on, made_on) as from_on, coalesce(removed_on, date '9999-12-31') as to_on,
        file_id, record_no, line_no
    from record.unit
),
two_vessels as (
    select distinct on (a.file_id, a.record_no, a.unit_id) 'unit-on-two-vessels' as rule, 'unit' as table_name, a.file_id, a.record_no, a.line_no,
        'imo_number' as column_name, b.imo_number || ' from ' || greatest(a.from_on, b.from_on)::varchar as value
    from stay as a join stay as b using (unit_id)
    where a.imo_number <> b.imo_number and a.from_on < b.to_on and b.from_on < a.to_on
    order by a.file_id, a.record_no, a.unit_id, b.imo_number, b.from_on
),
seen as (
    select 'inspection' as table_name, unit_id, imo_number, inspected_on as seen_on, 'inspected_on' as column_name, file_id, record_no, line_no
    from record.inspection
    union all select 'service', unit_id, imo_number, serviced_on, 'serviced_on', file_id, record_no, line_no from record.service
    union all select 'finding', unit_id, imo_number, found_on, 'found_on', file_id, record_no, line_no from record.finding
),
after_removal as (
    select 'seen-after-removal', table_name, file_id, record_no, line_no, column_name, seen_on::varchar
    from seen semi join (select unit_id, max(to_on) as last_on from stay group by unit_id having max(to_on) < date '9999-12-31') as gone
        on gone.unit_id = seen.unit_id and seen.seen_on > gone.last_on
),
inexact as (
    select 'year-only-manufacture', 'unit', file_id, record_no, line_no, 'made_on', made_on_precision
    from record.unit where made_on is not null and made_on_precision = 'year'
),
no_start as (
    select 'no-start-date', 'unit', file_id, record_no, line_no, 'in_service_on', null
    from record.unit where in_service_on is null and made_on is null
),
no_outcome as (
    select 'no-outcome', 'inspection', file_id, record_no, line_no, 'outcome', null from record.inspection where outcome is null
    union all
    select 'no-outcome', 'service', file_id, record_no, line_no, 'outcome', null from record.service where outcome is null
),
mass as (
    -- A litre of water or foam solution is taken as 1 kg: density by agent belongs to the rule book.
    select 'mass-does-not-add-up', 'unit', file_id, record_no, line_no, 'full_mass_kg',
        round(empty_mass_kg + coalesce(charge_kg, charge_l), 2)::varchar || ' kg, the label says ' || round(full_mass_kg, 2)::varchar || ' kg'
    from record.unit
    where abs(empty_mass_kg + coalesce(charge_kg, charge_l) - full_mass_kg) > 0.05 * full_mass_kg
),
closed as (
    select 'closed-before-found', 'finding', file_id, record_no, line_no, 'closed_on', closed_on::varchar
    from record.finding where closed_on < found_on
),
period as (
    select 'unit' as table_name, file_id, record_no, line_no, 'removed_on' as column_name, in_service_on as from_on, removed_on as to_on
    from record.unit
    union all select 'unit', file_id, record_no, line_no, 'landed_to', landed_from, landed_to from record.unit
    union all select 'vessel', file_id, record_no, line_no, 'left_on', joined_on, left_on from record.vessel
    union all select 'vessel', file_id, record_no, line_no, 'laid_up_to', laid_up_from, laid_up_to from record.vessel
),
reversed as (
    select 'ends-before-it-begins', table_name, file_id, record_no, line_no, column_name, from_on::varchar || ' to ' || to_on::varchar
    from period where to_on < from_on
)
from two_vessels union all from after_removal union all from inexact union all from no_start union all from no_outcome
union all from mass union all from closed union all from reversed;
