-- one row is a service of the period
select serviced_on, unit_id, said(kind), outcome, provider, certificate_no, place(file_id, record_no, line_no)
from record.service where imo_number = $imo_number and serviced_on between $from_on and $as_of
order by serviced_on, unit_id, kind
