-- one row is a file with records of events: when it came, and whether it came in bulk, its oldest event more than 92 days before.
-- A file in bulk (a year at once, or the past when firekpi is taken up) tells nothing of when its records were known aboard: they
-- count from the day of their event. All of these tables are dropped by unit_half_year.sql.
create temp table file_known as
with event as (
    select file_id, inspected_on as on_day from record.inspection union all select file_id, inspected_on from history.inspection
    union all select file_id, serviced_on from record.service union all select file_id, serviced_on from history.service
    union all select file_id, found_on from record.finding union all select file_id, found_on from history.finding
)
select file_id, received_at::date as received_on, min(on_day) < received_at::date - 92 as is_bulk
from event join intake.file using (file_id) group by file_id, received_at;

-- The day from which a record of an event counts as known.
create or replace temp macro known_on(event_on, received_on, is_bulk) as
    case when is_bulk then event_on else greatest(event_on, received_on) end;

-- Whether a version of a record stood on a day: on the day of the report the last one that came, before it what was known by then.
create or replace temp macro stood_on(is_now, day, known_from, known_to) as
    case when is_now then known_to is null else known_from <= day and coalesce(known_to > day, true) end;

-- one row is a version of a service record and the days [known_from, known_to) on which it stood
create temp table known_service as
with version as (
    select unit_id, imo_number, serviced_on, kind, outcome, wall_mm_measured, file_id, null as replaced_by_file_id from record.service
    union all select unit_id, imo_number, serviced_on, kind, outcome, wall_mm_measured, file_id, replaced_by_file_id from history.service
)
select version.*, known_on(serviced_on, came.received_on, came.is_bulk) as known_from,
    case when replaced_by_file_id is not null then known_on(serviced_on, later.received_on, later.is_bulk) end as known_to
from version join file_known as came on came.file_id = version.file_id
left join file_known as later on later.file_id = replaced_by_file_id where serviced_on <= $as_of::date;

-- one row is a version of a finding and the days on which it stood
create temp table known_finding as
with version as (
    select unit_id, imo_number, found_on, component, defect, severity, rust_grade, pit_depth_mm, file_id, null as replaced_by_file_id
    from record.finding
    union all select unit_id, imo_number, found_on, component, defect, severity, rust_grade, pit_depth_mm, file_id, replaced_by_file_id
    from history.finding
)
select version.*, known_on(found_on, came.received_on, came.is_bulk) as known_from,
    case when replaced_by_file_id is not null then known_on(found_on, later.received_on, later.is_bulk) end as known_to
from version join file_known as came on came.file_id = version.file_id
left join file_known as later on later.file_id = replaced_by_file_id where found_on <= $as_of::date;

-- one row is a version of an inspection that did not see its unit, and the days on which it stood
create temp table known_miss as
with version as (
    select unit_id, imo_number, inspected_on, outcome, file_id, null as replaced_by_file_id from record.inspection
    union all select unit_id, imo_number, inspected_on, outcome, file_id, replaced_by_file_id from history.inspection
)
select version.*, known_on(inspected_on, came.received_on, came.is_bulk) as known_from,
    case when replaced_by_file_id is not null then known_on(inspected_on, later.received_on, later.is_bulk) end as known_to
from version join file_known as came on came.file_id = version.file_id
left join file_known as later on later.file_id = replaced_by_file_id
where inspected_on <= $as_of::date and outcome in ('not_found', 'no_access');
