-- one row is a doubt: a vessel of the fleet, not laid up, without a record for 45 days
select 'quiet-vessel' as rule, 'vessel' as table_name, file_id, record_no, line_no, 'imo_number' as column_name,
    case when last_record_on is null then 'No record at all' else 'Last record on ' || last_record_on::varchar end as value
from figure.freshness join record.vessel as vessel using (imo_number)
where (days_since > 45 or days_since is null) and (left_on is null or left_on > $as_of::date)
    and (joined_on is null or joined_on <= $as_of::date)
    and not coalesce(laid_up_from <= $as_of::date and ($as_of::date < laid_up_to or laid_up_to is null), false);
