-- one row is a cell of a record of the unit $unit_id that was put right by a declared correction
with seen as (
    select file_id, record_no, coalesce(in_service_on, date '0001-01-01') as day from record.unit where unit_id = $unit_id
    union select file_id, record_no, inspected_on from record.inspection where unit_id = $unit_id
    union select file_id, record_no, serviced_on from record.service where unit_id = $unit_id
    union select file_id, record_no, found_on from record.finding where unit_id = $unit_id
)
select distinct path, record_no, column_name, from_value, to_value, why, who, declared_on, declared_in, declared_record_no
from intake.correction join seen using (file_id, record_no) join intake.file using (file_id)
where day <= $as_of::date
order by all;
