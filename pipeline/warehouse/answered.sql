-- Mark each quarantined record that a later file answers, whether well or badly: if badly, it is open there and not here.
-- In: restating, dumped, row_key, stage_answer, stage_broken, stage_file.

-- a failed row is answered by the first later row of its key, or, where its key can't be read, by one of the same content; a row that
-- failed itself answers only rows of its own source: two sources may make one slip
create or replace temp table answered_row as
with by_key as (
    select old.file_no, old.table_name, old.record_no, old.item_no, min(later.file_no) as by_no
    from row_key as old join row_key as later using (table_name, key_hash)
    join stage_file as file on file.file_no = old.file_no join stage_file as by_file on by_file.file_no = later.file_no
    where old.fate = 'failed' and later.file_no > old.file_no
        and (later.fate <> 'failed' or (by_file.folder, by_file.dialect) = (file.folder, file.dialect))
    group by all
),
by_content as (
    select old.file_no, old.table_name, old.record_no, old.item_no, min(later.file_no) as by_no
    from row_key as old join row_key as later using (table_name, content)
    join stage_file as file on file.file_no = old.file_no join stage_file as by_file on by_file.file_no = later.file_no
    where old.fate = 'failed' and old.key_hash is null and later.file_no > old.file_no
        and (by_file.folder, by_file.dialect) = (file.folder, file.dialect)
    group by all
)
from by_key union all from by_content;

-- a record is answered when all its failed rows are, or as a whole
create or replace temp table answered as
with by_rows as (
    select failed.file_no, failed.table_name, failed.record_no,
        case when count(*) = count(answered_row.by_no) then max(answered_row.by_no) end as by_no
    from (select distinct file_no, table_name, record_no, item_no from row_key where fate = 'failed') as failed
    left join answered_row using (file_no, table_name, record_no, item_no)
    group by all
),
open_record as (
    select distinct file.file_no, q.file_id, q.table_name, q.record_no from intake.quarantine as q join stage_file as file using (file_id)
),
by_version as (select file_no, table_name, record_no, by_no from open_record join restating using (file_no)),
by_sheet as (
    select open_record.file_no, table_name, open_record.record_no, answer.file_no as by_no
    from open_record join stage_answer as answer on answer.of_file_id = open_record.file_id and answer.of_record_no = open_record.record_no
    where answer.file_no > open_record.file_no
    union all -- a row of a sheet is answered by a later sheet's row for the same record
    select open_record.file_no, table_name, open_record.record_no, answer.file_no
    from open_record join stage_answer as mine on mine.file_no = open_record.file_no and mine.record_no = open_record.record_no
    join stage_answer as answer on answer.of_file_id = mine.of_file_id and answer.of_record_no = mine.of_record_no
    where answer.file_no > open_record.file_no
),
-- a record is answered by a later full list of its vessel; one without a known vessel once every vessel of its file is listed anew
asked as (
    select distinct open_record.file_no, open_record.table_name, open_record.record_no, coalesce(vessel.imo_number, listed.imo_number) as imo_number
    from open_record left join row_key using (file_no, table_name, record_no)
    left join record.vessel as vessel on vessel.imo_number = row_key.imo_number
    left join (select distinct file_no, table_name, imo_number from row_key where fate <> 'failed') as listed
        on vessel.imo_number is null and listed.file_no = open_record.file_no and listed.table_name = open_record.table_name
),
listed_anew as (
    select asked.*, min(dumped.file_no) as by_no
    from asked join stage_file as file using (file_no)
    left join dumped on dumped.folder = file.folder and dumped.dialect = file.dialect and dumped.table_name = asked.table_name
        and dumped.scope in ('*', asked.imo_number) and dumped.file_no > asked.file_no
    group by all
),
by_dump as (
    select file_no, table_name, record_no, max(by_no) as by_no from listed_anew group by all having count(*) = count(by_no)
),
by_line as (
    select old.file_no, old.table_name, old.record_no, min(later.file_no) as by_no
    from stage_broken as old join stage_file as file using (file_no)
    join (select * from stage_broken join stage_file using (file_no)) as later
        on later.rule = old.rule and later.value = old.value and later.content = old.content and later.folder = file.folder and later.dialect = file.dialect
    where later.file_no > old.file_no
    group by all
),
every as (
    from by_rows union all from by_version union all from by_sheet union all from by_dump union all from by_line
)
select file_no, table_name, record_no, min(by_no) as by_no from every where by_no is not null group by all;

update intake.quarantine as q set superseded_by = later.file_id
from answered join stage_file as file using (file_no) join stage_file as later on later.file_no = answered.by_no
where file.file_id = q.file_id and answered.table_name = q.table_name and answered.record_no = q.record_no;
