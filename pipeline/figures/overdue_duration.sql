-- figure.overdue_duration: one row is a vessel ('*' the fleet) and a duty ('*' those that count for any): the items that became
-- overdue since the first month of records, and for how long. Days run from the due date to the day of the work; an item still
-- open on $as_of, or that counted no more before it was done (the unit or the vessel left, another rule came), waited at least so long.
create table figure.overdue_duration (
    imo_number varchar, duty varchar, items bigint, still_open bigint, stopped bigint, clusters bigint, median_days double,
    median_low double, median_high double, p90_days double, p90_low double, p90_high double, why_not varchar
);
create temp table overdue_item as
with late as (
    select imo_number, duty, due_on, done_on, stopped_on, least(coalesce(done_on, date '9999-12-31'), stopped_on, $as_of::date) as until_on
    from figure.due_service where not is_in_time
)
select imo_number, counted_as as duty, call_on - date '1900-01-01' as call_no, until_on - due_on as days, coalesce(until_on = done_on, false) and (stopped_on > done_on) as is_done,
    until_on = $as_of::date and not coalesce(done_on = $as_of::date, false) and stopped_on > $as_of::date as is_open
from late join call_day using (imo_number, duty, due_on);
