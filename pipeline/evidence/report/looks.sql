-- one row is a month of the period with its looks on board by what came of them
select strftime(inspected_on, '%Y-%m'), count(*), count(distinct unit_id), count(*) filter (outcome = 'satisfactory'), count(*) filter (outcome = 'unsatisfactory'),
    count(*) filter (outcome = 'not_found'), count(*) filter (outcome = 'no_access'),
    string_agg(distinct label, ' ' order by label)
from record.inspection as inspection left join pack_number using (file_id) where imo_number = $imo_number and inspected_on between $from_on and $as_of
group by all order by 1
