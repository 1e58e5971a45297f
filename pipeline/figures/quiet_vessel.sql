-- one row is a doubt: a vessel that should send records and sent none for long
select 'quiet-vessel' as rule, 'vessel' as table_name, file_id, record_no, line_no, 'imo_number' as column_name,
    case when last_record_on is null then 'No record at all' else 'Last record on ' || last_record_on::varchar || ', more than ' || quiet_after_days::varchar || ' days ago' end as value
from figure.freshness join record.vessel as vessel using (imo_number)
where is_quiet;
