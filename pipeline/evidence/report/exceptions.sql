-- one row is something about the vessel's records that is not as it should be, and how it was handled
select 'not loaded' as kind, place(file_id, record_no, line_no) as at, table_name, reason, case when superseded_by is null then 'open: waits for its sender'
    else 'answered by ' || coalesce((select path from intake.file as later where later.file_id = refused.superseded_by), superseded_by) end as handled
from intake.quarantine as refused
where (file_id, table_name, record_no) in (select file_id, table_name, record_no from pack_refused)
union all
select 'corrected', place(file_id, record_no, null), column_name, coalesce(from_value, '') || ' read as ' || coalesce(to_value, ''), why || ' (' || who || ', ' || declared_on || ')'
from intake.correction where (file_id, record_no) in (select file_id, record_no from pack_row)
union all
select 'doubt', place(file_id, record_no, line_no), table_name, reason, 'loaded as it stands'
from intake.flag where (file_id, table_name, record_no) in (select file_id, table_name, record_no from pack_row)
union all
select 'replaced', place(file_id, record_no, line_no), 'unit', unit_id, 'a later file restates it: ' || place(replaced_by_file_id, replaced_by_record_no, null)
from history.unit where imo_number = $imo_number
union all
select 'replaced', place(file_id, record_no, line_no), 'inspection', unit_id || ', ' || inspected_on, 'a later file restates it: ' || place(replaced_by_file_id, replaced_by_record_no, null)
from history.inspection where imo_number = $imo_number
union all
select 'replaced', place(file_id, record_no, line_no), 'service', unit_id || ', ' || serviced_on, 'a later file restates it: ' || place(replaced_by_file_id, replaced_by_record_no, null)
from history.service where imo_number = $imo_number
union all
select 'replaced', place(file_id, record_no, line_no), 'finding', unit_id || ', ' || found_on || ', ' || component, 'a later file restates it: ' || place(replaced_by_file_id, replaced_by_record_no, null)
from history.finding where imo_number = $imo_number
union all
select 'withdrawn', path, 'file', why, 'does not count since ' || withdrawn_at from intake.withdrawn
order by all
