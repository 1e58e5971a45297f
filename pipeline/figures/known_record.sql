-- one row is a file: the day on which it came.
-- What was known on a past day. A vessel's take-up is what came within 92 days of its first file of events: it tells nothing of when its
-- records were known aboard, so they count from the day of their event (else a fleet that takes firekpi up with its past would have
-- none). All that came later, a restated or corrected record too, counts from the day on which it came, and what it replaced counts until then.
-- All of these tables are dropped by unit_half_year.sql.
create temp table file_day as select file_id, received_at::date as received_on from intake.file;

-- one row is a vessel, a file with events of it, a day, and whether events of that day look at findings: inspections and findings do
create temp table event_day as
select distinct imo_number, file_id, on_day, is_look from (
    select imo_number, file_id, inspected_on as on_day, true as is_look from record.inspection
    union all select imo_number, file_id, inspected_on, true from history.inspection
    union all select imo_number, file_id, serviced_on, false from record.service
    union all select imo_number, file_id, serviced_on, false from history.service
    union all select imo_number, file_id, found_on, true from record.finding
    union all select imo_number, file_id, found_on, true from history.finding);

-- one row is a vessel and the day on which its take-up was complete
create temp table taken_up as
select imo_number, max(received_on) as taken_up_on from (
    select imo_number, received_on, min(received_on) over (partition by imo_number) as first_on
    from (select distinct imo_number, file_id from event_day) join file_day using (file_id))
where received_on <= first_on + 92 group by imo_number;

-- The day from which what came on a day counts as known. Without events of its vessel the register is all there is.
create or replace temp macro known_on(event_on, came_on, taken_up_on) as
    case when coalesce(came_on <= taken_up_on, true) then event_on else greatest(event_on, came_on) end;

-- Whether a version of a record stood on a day: on the day of the report the last one that came, before it what was known by then.
create or replace temp macro stood_on(is_now, day, known_from, known_to) as
    case when is_now then known_to is null else known_from <= day and coalesce(known_to > day, true) end;

-- one row is a record with cells put right by a declared correction: since when, and its cells as they came, by column. is_plain: they are written
-- in the contract's own words; else the record as it came can't be read again here and is not known before it was put right.
create temp table corrected as
select file_id, record_no, table_name, max(declared_on) as corrected_on, bool_and(header = source.column_name and words is null) as is_plain,
    map_from_entries(list(distinct {'k': source.column_name, 'v': from_value}) filter (source.header = source.column_name)) as was
from intake.correction as declared join intake.column_source as source using (file_id)
where source.header = declared.column_name group by file_id, record_no, table_name;

-- A cell as it came, of a record that was corrected later.
create or replace temp macro as_came(was, name, value) as
    case when map_contains(was, name) then nullif(was[name], '') else value::varchar end;

-- Versions of a table in order, each with the days [known_from, known_to) on which it stood; those that the take-up itself replaced
-- never did. `versions` has imo_number, on_day, file_id, record_no, replaced_by_file_id.
create or replace temp macro with_days(versions, name) as table
with dated as (
    select version.*, came.received_on, later.received_on as replaced_on, corrected_on, is_plain, was, taken_up_on
    from query_table(versions) as version join file_day as came on came.file_id = version.file_id
    left join file_day as later on later.file_id = version.replaced_by_file_id
    left join taken_up using (imo_number)
    left join corrected on corrected.file_id = version.file_id and corrected.record_no = version.record_no and corrected.table_name = name
)
select dated.* exclude (received_on, replaced_on, was, taken_up_on, corrected_on, is_plain), null::map(varchar, varchar) as was,
    known_on(on_day, greatest(received_on, corrected_on), taken_up_on) as known_from, replaced_on as known_to
from dated where coalesce(replaced_on > taken_up_on, true) and coalesce(replaced_on > corrected_on, true)
union all by name
select dated.* exclude (received_on, replaced_on, taken_up_on, corrected_on, is_plain),
    known_on(on_day, received_on, taken_up_on) as known_from, least(corrected_on, replaced_on) as known_to
from dated where is_plain and corrected_on > greatest(received_on, coalesce(taken_up_on, received_on));

-- one row is a version of a service record and the days on which it stood
create temp table version as
select unit_id, imo_number, serviced_on, kind, outcome, wall_mm_measured, is_examination, tested_part, serviced_on as on_day, file_id, record_no, null as replaced_by_file_id
from record.service
union all select unit_id, imo_number, serviced_on, kind, outcome, wall_mm_measured, is_examination, tested_part, serviced_on, file_id, record_no, replaced_by_file_id
from history.service;
create temp table known_service as
select * exclude (was, on_day, replaced_by_file_id) replace (as_came(was, 'unit_id', unit_id) as unit_id, try_cast(as_came(was, 'serviced_on', serviced_on) as date) as serviced_on,
    as_came(was, 'kind', kind) as kind, as_came(was, 'outcome', outcome) as outcome, as_came(was, 'tested_part', tested_part) as tested_part,
    try_cast(as_came(was, 'wall_mm_measured', wall_mm_measured) as double) as wall_mm_measured)
from with_days(version, 'service') where on_day <= $as_of::date;
drop table version;

-- one row is a version of a finding and the days on which it stood
create temp table version as
select unit_id, imo_number, found_on, component, defect, severity, rust_grade, pit_depth_mm, found_on as on_day, file_id, record_no, null as replaced_by_file_id
from record.finding
union all select unit_id, imo_number, found_on, component, defect, severity, rust_grade, pit_depth_mm, found_on, file_id, record_no, replaced_by_file_id
from history.finding;
create temp table known_finding as
select * exclude (was, on_day, replaced_by_file_id) replace (as_came(was, 'unit_id', unit_id) as unit_id, try_cast(as_came(was, 'found_on', found_on) as date) as found_on,
    as_came(was, 'component', component) as component, as_came(was, 'defect', defect) as defect, as_came(was, 'severity', severity) as severity,
    as_came(was, 'rust_grade', rust_grade) as rust_grade, try_cast(as_came(was, 'pit_depth_mm', pit_depth_mm) as double) as pit_depth_mm)
from with_days(version, 'finding') where on_day <= $as_of::date;
drop table version;

-- one row is a version of an inspection that did not see its unit, and the days on which it stood
create temp table version as
with every as (
    select unit_id, imo_number, inspected_on, outcome, inspected_on as on_day, file_id, record_no, null as replaced_by_file_id from record.inspection
    union all select unit_id, imo_number, inspected_on, outcome, inspected_on, file_id, record_no, replaced_by_file_id from history.inspection
)
select * from every where outcome in ('not_found', 'no_access')
union all
-- one that sees its unit now may not have done so before it was put right
select * from every semi join (from corrected where table_name = 'inspection') as corrected using (file_id, record_no)
where outcome is distinct from 'not_found' and outcome is distinct from 'no_access';
create temp table known_miss as
select unit_id, imo_number, try_cast(as_came(was, 'inspected_on', inspected_on) as date) as inspected_on, known_from, known_to
from with_days(version, 'inspection')
where on_day <= $as_of::date and as_came(was, 'outcome', outcome) in ('not_found', 'no_access');
drop table version;

-- one row is a version of a register row and the days on which it stood; one of the take-up stood on all days before
create temp table version as
select unit_id, imo_number, in_service_on, removed_on, removal_reason, made_on, is_spare, landed_from, landed_to, agent, lining, space_category, wall_mm, wall_min_mm,
    maker, model, date '0001-01-01' as on_day, file_id, record_no, null as replaced_by_file_id from record.unit
union all select unit_id, imo_number, in_service_on, removed_on, removal_reason, made_on, is_spare, landed_from, landed_to, agent, lining, space_category, wall_mm, wall_min_mm,
    maker, model, date '0001-01-01', file_id, record_no, replaced_by_file_id from history.unit;
create temp table known_unit as
select * exclude (was, on_day, replaced_by_file_id) replace (try_cast(as_came(was, 'in_service_on', in_service_on) as date) as in_service_on,
    try_cast(as_came(was, 'removed_on', removed_on) as date) as removed_on, as_came(was, 'removal_reason', removal_reason) as removal_reason,
    try_cast(as_came(was, 'made_on', made_on) as date) as made_on, as_came(was, 'agent', agent) as agent, as_came(was, 'lining', lining) as lining,
    as_came(was, 'space_category', space_category) as space_category, try_cast(as_came(was, 'wall_mm', wall_mm) as double) as wall_mm,
    try_cast(as_came(was, 'wall_min_mm', wall_min_mm) as double) as wall_min_mm, as_came(was, 'maker', maker) as maker, as_came(was, 'model', model) as model)
from with_days(version, 'unit');
drop table version;

-- one row is a version of a vessel's facts and the days on which it stood
create temp table version as
select imo_number, joined_on, left_on, laid_up_from, laid_up_to, date '0001-01-01' as on_day, file_id, record_no, null as replaced_by_file_id from record.vessel
union all select imo_number, joined_on, left_on, laid_up_from, laid_up_to, date '0001-01-01', file_id, record_no, replaced_by_file_id from history.vessel;
create temp table known_vessel as select * exclude (was, on_day, replaced_by_file_id) from with_days(version, 'vessel');
drop table version;
