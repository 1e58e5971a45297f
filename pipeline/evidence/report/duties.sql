-- one row is a duty of a unit or sample group on the day
select unit_id, said(duty), due_on, state || coalesce(', ' || days_overdue || ' days', ''), basis_on, said(basis_kind),
    place(basis_file_id, basis_record_no, basis_line_no), rule_id
from figure.duty_now where imo_number = $imo_number
order by case state when 'overdue' then 0 when 'unknown' then 1 else 2 end, due_on, unit_id, duty
