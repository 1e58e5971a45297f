-- one row is a finding of the period, or one that is still open on the day
select found_on, unit_id, said(component) || ' ' || said(defect), concat_ws(' ', severity, rust_grade), found_by, action,
    case when closed_on <= $as_of then closed_on::varchar else 'open' end, place(file_id, record_no, line_no)
from record.finding
where imo_number = $imo_number and found_on <= $as_of and (found_on >= $from_on or closed_on is null or closed_on > $as_of)
order by found_on, unit_id, component, defect
