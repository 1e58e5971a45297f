-- one row is an earlier version of a record of the unit $unit_id: what it was, when it came and from when another counted
with version as (
    select 'register row of ' || imo_number as what, coalesce(in_service_on, date '0001-01-01') as day, file_id, record_no, line_no, replaced_by_file_id, replaced_by_record_no
    from history.unit where unit_id = $unit_id
    union all
    select 'inspection of ' || inspected_on::varchar, inspected_on, file_id, record_no, line_no, replaced_by_file_id, replaced_by_record_no
    from history.inspection where unit_id = $unit_id
    union all
    select kind || ' of ' || serviced_on::varchar, serviced_on, file_id, record_no, line_no, replaced_by_file_id, replaced_by_record_no
    from history.service where unit_id = $unit_id
    union all
    select component || ' ' || defect || ' found on ' || found_on::varchar, found_on, file_id, record_no, line_no, replaced_by_file_id, replaced_by_record_no
    from history.finding where unit_id = $unit_id
)
select what, file.path, version.line_no, version.record_no, file.received_at::date, later.received_at::date, later.path, replaced_by_record_no
from version join intake.file as file using (file_id) join intake.file as later on later.file_id = replaced_by_file_id
where day <= $as_of::date
order by day, what, file.received_at, file.path, record_no;
