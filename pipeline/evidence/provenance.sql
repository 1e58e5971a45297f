-- The record behind each cell of each verdict of a vessel. In: the database, its subject marked. Out: pack_provenance.

-- one row is a table of records and its column of the day
create or replace temp table pack_day as
from (values ('inspection', 'inspected_on'), ('service', 'serviced_on'), ('finding', 'found_on')) as day (table_name, day_column);

-- one row is a cell of what stands against a unit
create or replace temp table pack_cell as
unpivot (
    select 'figure.verdict' as figure, imo_number, unit_id, rule_id || ', ' || coalesce(measure, '') || ', ' || reason as of_what, rule_id,
        table_name, file_id, record_no, line_no, verdict, reason, measure, value::varchar as value, limit_value::varchar as limit_value,
        unit, seen_on::varchar as seen_on, measure as measured
    from figure.verdict where imo_number = $imo_number
    union all by name
    select 'figure.placement_now' as figure, imo_number, unit_id, rule_id || ', ' || coalesce(measure, '') || ', ' || reason as of_what,
        rule_id, table_name, file_id, record_no, line_no, verdict, reason, measure, value::varchar as value,
        limit_value::varchar as limit_value, unit, seen_on::varchar as seen_on, measure as measured
    from figure.placement_now where imo_number = $imo_number
) on verdict, reason, measure, value, limit_value, unit, seen_on into name column_name value cell;

-- one row is a cell of a verdict and what else it was judged by: the unit's row of the register, and the vessel's where the rule asks for it
create or replace temp table pack_judged_cell as
select cell.* exclude (table_name, file_id, record_no, line_no, measured), other.table_name, other.file_id, other.record_no, other.line_no,
    other.column_read
from pack_cell as cell join duty.provision as rule using (rule_id) join (
    select unit_id, 'unit' as table_name, file_id, record_no, line_no, null as column_read, true as is_asked
    from figure.unit_now where imo_number = $imo_number
    union all
    select unit_id, 'vessel', vessel.file_id, vessel.record_no, vessel.line_no, 'lowest_air_temp_c', false
    from record.vessel as vessel join figure.unit_now using (imo_number) where imo_number = $imo_number
) as other using (unit_id)
where cell.column_name in ('verdict', 'reason', 'value', 'limit_value') and (is_asked or air_temp_below_c is not null)
    and (other.table_name <> cell.table_name or other.record_no <> cell.record_no or other.file_id <> cell.file_id);

-- one row is a duty of a unit or sample group on the day, with the table that its basis stands in and the column of the date
create or replace temp table pack_basis as
select *, case when basis_kind in ('made_on', 'in_service_on', 'cartridge_made_on') then 'unit' when basis_kind = 'inspection' then 'inspection'
        when exists (from record.finding as finding where finding.file_id = basis_file_id and finding.record_no = basis_record_no
            and component || ' ' || defect = basis_kind) then 'finding'
        else 'service' end as table_name
from figure.duty_now where imo_number = $imo_number;

-- one row is a cell of a duty
create or replace temp table pack_duty_cell as
unpivot (
    select 'figure.duty_now' as figure, imo_number, unit_id, duty as of_what, rule_id, table_name, basis_file_id as file_id,
        basis_record_no as record_no, basis_line_no as line_no, if(table_name = 'unit', basis_kind, day_column) as column_read,
        basis_on::varchar as basis_on, basis_kind, due_on::varchar as due_on, state, days_overdue::varchar as days_overdue
    from pack_basis left join pack_day using (table_name)
) on basis_on, basis_kind, due_on, state, days_overdue into name column_name value cell;

-- one row is a cell of a unit's row in the register
create or replace temp table pack_unit_cell as
unpivot (
    select 'figure.unit_now' as figure, imo_number, unit_id, 'register' as of_what, 'unit' as table_name, file_id, record_no, line_no, counted,
        position_no, space_name, space_category, agent, agent_detail, foam_kind, form, expelled_by, charge_l::varchar as charge_l,
        charge_kg::varchar as charge_kg, lining, maker, model, made_on::varchar as made_on, made_on_precision,
        age_years::varchar as age_years, in_service_on::varchar as in_service_on
    from figure.unit_now where imo_number = $imo_number
) on columns(* exclude (figure, imo_number, unit_id, of_what, table_name, file_id, record_no, line_no)) into name column_name value cell;

-- one row is a cell of a unit that counts records or names the last, and one of these records
create or replace temp table pack_count_cell as
select 'figure.unit_now' as figure, imo_number, unit_id, found.* exclude (unit_id, imo_of, looked_on) replace (
    case column_name when 'open_findings' then open_findings::varchar when 'overdue_duties' then overdue_duties::varchar else cell end as cell)
from figure.unit_now as unit join (
    select unit_id, null as imo_of, 'last look' as of_what, 'inspection' as table_name, file_id, record_no, line_no, 'last_inspected_on' as column_name,
        inspected_on::varchar as cell, inspected_on as looked_on
    from record.inspection where inspected_on <= $as_of and was_seen(outcome)
    union all
    select unit_id, null, 'last look that did not see it', 'inspection', file_id, record_no, line_no, column_name,
        if(column_name = 'last_missed_on', inspected_on::varchar, outcome), inspected_on
    from record.inspection, (values ('last_missed_on'), ('last_missed_outcome')) as missed (column_name)
    where inspected_on <= $as_of and not was_seen(outcome)
    union all
    select unit_id, null, 'last service', 'service', file_id, record_no, line_no, 'last_serviced_on', serviced_on::varchar, null
    from record.service where serviced_on <= $as_of
    union all
    select unit_id, imo_number, 'none on record', null, null, null, null, column_name, '0', null
    from figure.unit_now, (values ('open_findings'), ('overdue_duties')) as counted (column_name)
    where imo_number = $imo_number and if(column_name = 'open_findings', open_findings, overdue_duties) = 0
    union all
    select unit_id, null, component || ' ' || defect || ' found ' || found_on, 'finding', file_id, record_no, line_no, column_name, severity, null
    from record.finding, (values ('open_findings'), ('worst_open_severity')) as counted (column_name)
    where found_on <= $as_of and (closed_on is null or closed_on > $as_of)
    union all
    select unit_id, imo_number, duty || ' due ' || due_on, table_name, basis_file_id, basis_record_no, basis_line_no, 'overdue_duties', null, null
    from pack_basis where state = 'overdue' and not is_group
) as found using (unit_id)
where imo_number = $imo_number and coalesce(imo_of = imo_number, true) and case column_name when 'last_inspected_on' then cell = last_inspected_on::varchar
    when 'last_missed_on' then cell = last_missed_on::varchar when 'last_missed_outcome' then looked_on = last_missed_on and cell = last_missed_outcome
    when 'last_serviced_on' then cell = last_serviced_on::varchar when 'worst_open_severity' then cell = worst_open_severity else true end;

-- pack_provenance: one row is a cell of a figure and a record behind it: the file as received, its record and line, the header over the cell
-- where the column comes from one, and the rule that judged it. Without a record (file_id is null) the cell rests on there being none.
create or replace temp table pack_provenance as
with every_cell as (
    from pack_cell union all by name from pack_judged_cell union all by name from pack_duty_cell union all by name from pack_unit_cell union all by name from pack_count_cell
),
placed as (
    select every_cell.* exclude (column_read), coalesce(column_read, case
        when of_what = 'register' then case column_name when 'age_years' then 'made_on' when 'counted' then 'is_spare' else column_name end
        when column_name = 'value' then measured
        when column_name in ('seen_on', 'last_inspected_on', 'last_missed_on', 'last_serviced_on', 'overdue_duties') then day_column end)
        as column_read
    from every_cell left join pack_day using (table_name)
)
select figure, imo_number, unit_id, of_what, column_name, cell, table_name, file_id, path, record_no, line_no, column_read, header, rule_id,
    rule.file as rule_file, source, clause, certainty
from placed left join intake.file using (file_id) left join duty.provision as rule using (rule_id)
left join (select file_id, table_name, column_name as column_read, any_value(header order by header) as header
    from intake.column_source group by all) using (file_id, table_name, column_read);
