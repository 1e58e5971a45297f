-- What speaks of one vessel. In: the database and pack_received (file_id, table_name, record_no, imo_number, unit_id: rows as received).

-- one row is a unit that the vessel has or had, in rows that count or counted
create or replace temp table pack_unit as
select distinct unit_id from (
    select unit_id, imo_number from record.unit union all select unit_id, imo_number from history.unit
    union all select unit_id, imo_number from pack_received where table_name = 'unit'
) where imo_number = $imo_number and unit_id is not null;

-- one row is the vessel, or one on which a unit of it was
create or replace temp table pack_vessel as
select $imo_number as imo_number
union select imo_number from record.unit where unit_id in (select unit_id from pack_unit)
union select imo_number from history.unit where unit_id in (select unit_id from pack_unit);

-- one row is a record of a table, as received, that speaks of the vessel or of one of its units
create or replace temp table pack_row as
select distinct file_id, table_name, record_no from pack_received
where imo_number = $imo_number or unit_id in (select unit_id from pack_unit);

-- one row is a rule that binds the vessel
create or replace temp table pack_rule as
select distinct rule.rule_no, rule.rule_id
from duty.provision as rule join duty.binding as binding using (regime_slug) join record.vessel as vessel
    on vessel.imo_number = $imo_number and (binding.flag is null or binding.flag = vessel.flag)
    and (binding.vessels is null or list_contains(binding.vessels, vessel.imo_number))
where rule.vessels is null or list_contains(rule.vessels, vessel.imo_number);

-- one row is a file that holds such a row, or the list of vessels with one on which a unit of it was
create or replace temp table pack_file as
select file_id from pack_row
union select file_id from record.vessel where imo_number in (select imo_number from pack_vessel)
union select file_id from history.vessel where imo_number in (select imo_number from pack_vessel)
union select file_id from record.unit where unit_id in (select unit_id from pack_unit)
union select file_id from record.inspection where unit_id in (select unit_id from pack_unit) or imo_number = $imo_number
union select file_id from record.service where unit_id in (select unit_id from pack_unit) or imo_number = $imo_number
union select file_id from record.finding where unit_id in (select unit_id from pack_unit) or imo_number = $imo_number
union select file_id from history.unit where unit_id in (select unit_id from pack_unit)
union select file_id from history.inspection where unit_id in (select unit_id from pack_unit) or imo_number = $imo_number
union select file_id from history.service where unit_id in (select unit_id from pack_unit) or imo_number = $imo_number
union select file_id from history.finding where unit_id in (select unit_id from pack_unit) or imo_number = $imo_number;

-- one row is a row of quarantine that speaks of the vessel, or one of an enclosed file that tells neither vessel nor unit
create or replace temp table pack_refused as
select distinct file_id, table_name, record_no from intake.quarantine
where (file_id, table_name, record_no) in (select file_id, table_name, record_no from pack_row) or (file_id in (select file_id from pack_file)
    and (file_id, table_name, record_no) not in (select file_id, table_name, record_no from pack_received));
