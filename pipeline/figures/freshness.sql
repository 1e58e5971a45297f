-- figure.freshness: one row is a vessel and the day of its last record, of any kind, on or before $as_of. Quiet is a vessel of the
-- fleet, not laid up, that sent nothing for more than quiet_after_days.
create table figure.freshness as
with seen as (
    select imo_number, inspected_on as seen_on from record.inspection
    union all select imo_number, serviced_on from record.service
    union all select imo_number, found_on from record.finding
    union all select imo_number, counted_on from record.spare
),
last_seen as (select imo_number, max(seen_on) as last_record_on from seen where seen_on <= $as_of::date group by imo_number)
select imo_number, last_record_on, $as_of::date - last_record_on as days_since, 45 as quiet_after_days,
    (last_record_on is null or $as_of::date - last_record_on > quiet_after_days)
        and is_within($as_of::date, coalesce(joined_on, $as_of::date), left_on)
        and not is_within($as_of::date, laid_up_from, laid_up_to) as is_quiet
from record.vessel left join last_seen using (imo_number) order by imo_number;
