-- one row is a reason against a unit
select unit_id, case verdict when 'condemn' then 'to condemn' when 'placement' then 'wrong place or kind' when 'doubt' then 'to be looked at'
    else verdict end, reason, seen_on, place(file_id, record_no, line_no), rule_id, concat_ws(', ', source, clause), certainty
from (select * from figure.verdict where imo_number = $imo_number and verdict <> 'placement'
    union all by name select * exclude (breach) from figure.placement_now where imo_number = $imo_number)
join duty.provision using (rule_id)
order by case verdict when 'condemn' then 0 when 'unfit' then 1 when 'placement' then 2 else 3 end, unit_id, rule_id, reason
