-- one row is a doubt that later files raise about a row that stands: rule, table_name, file_id, record_no, line_no, column_name, value
with standing as (
    select row_key.*, file.file_id, file.path from row_key join stage_file as file using (file_no) where fate = 'standing'
),
restated_path as (select distinct path from stage_file semi join restating using (file_no)),
-- the last version of a standing row's file that gives its key, well or badly
last_version as (
    select standing.table_name, standing.key_hash, max(given.file_no) as file_no
    from standing semi join restated_path using (path)
    join row_key as given using (table_name, key_hash) join stage_file as file on file.file_no = given.file_no
    where file.path = standing.path
    group by all
),
last_given as (
    select table_name, key_hash, max(file_no) as file_no from row_key semi join last_version using (table_name, key_hash) group by all
),
left_out as (
    select distinct on (standing.table_name, standing.file_no, standing.record_no)
        'left-out-of-later-version' as rule, standing.table_name, standing.file_id, standing.record_no, standing.line_no,
        null::varchar as column_name, standing.path as value
    from standing join last_version using (table_name, key_hash) join restating on restating.file_no = last_version.file_no
    join last_given using (table_name, key_hash)
    where last_given.file_no < restating.by_no
        and (last_version.file_no, standing.table_name) not in (select (file_no, table_name) from dumped)
    order by standing.table_name, standing.file_no, standing.record_no
),
-- the latest full list of a vessel or of all, by source
latest as (
    select folder, dialect, table_name, scope, max(file_no) as file_no from dumped group by all
),
-- the last file of each source that gives a key, well or badly
source_gave as (
    select folder, dialect, table_name, key_hash, any_value(imo_number) as imo_number, max(file_no) as file_no
    from row_key join stage_file using (file_no) semi join latest using (folder, dialect, table_name)
    where key_hash is not null group by folder, dialect, table_name, key_hash
),
vanished as (
    select distinct on (standing.table_name, standing.key_hash)
        'vanished-from-full-list', standing.table_name, standing.file_id, standing.record_no, standing.line_no, null,
        'last in ' || source.path || ', not in ' || latest_file.path
    from source_gave as given join stage_file as source using (file_no)
    join latest on latest.folder = source.folder and latest.dialect = source.dialect and latest.table_name = given.table_name
        and latest.scope in ('*', given.imo_number) and latest.file_no > given.file_no
    join stage_file as latest_file on latest_file.file_no = latest.file_no
    join standing on standing.table_name = given.table_name and standing.key_hash = given.key_hash
    where not (given.table_name = 'unit' and exists (
            select 1 from record.unit where unit.file_id = standing.file_id and unit.record_no = standing.record_no and unit.removed_on is not null))
    order by standing.table_name, standing.key_hash, given.file_no desc
),
respelt as (
    select distinct on (table_name, file_no, spelt) 'unit-number-matched', table_name, file_id, record_no, line_no, 'unit_id',
        spelt || ', in ' || count(*) over (partition by table_name, file_no, spelt)::varchar || ' rows'
    from row_key join stage_file using (file_no)
    where spelt is not null and fate <> 'failed'
    order by table_name, file_no, spelt, record_no
),
-- a later row of a stay that says nothing of the end that an earlier one gave
reopened as (
    select 'end-taken-back', 'unit', now.file_id, now.record_no, now.line_no, 'removed_on', before.removed_on::varchar
    from history.unit as before join record.unit as now
        on now.file_id = before.replaced_by_file_id and now.record_no = before.replaced_by_record_no
    where before.removed_on is not null and now.removed_on is null
)
from left_out union all from vanished union all from respelt union all from reopened
