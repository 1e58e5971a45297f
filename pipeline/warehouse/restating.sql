-- What later files say of earlier ones. In: stage_file, stage_feed, row_key.

-- one row is a file and the first later version of its path that restates it: at least half of its good rows' keys are there again,
-- or, where no row was good, of its rows' keys, or no key of it can be read. A later version with less in common goes on where the
-- file ended, and restates nothing. A mended sheet is never restated as a whole: what its next version lacks stays open.
create or replace temp table restating as
with sent_again as (select file_no from stage_file qualify count(*) over (partition by path) > 1),
given as (
    select file_no, table_name, key_hash, bool_or(fate <> 'failed') as is_good
    from row_key semi join sent_again using (file_no) where key_hash is not null group by all
),
asked as (
    select file_no, table_name, key_hash from given
    qualify is_good or not bool_or(is_good) over (partition by file_no)
),
pair as (
    select old.file_no, later.file_no as by_no from stage_file as old join stage_file as later on later.path = old.path and later.file_no > old.file_no
    where old.file_no not in (select file_no from stage_answer)
),
overlap as (
    select pair.file_no, by_no, count(asked.key_hash) as rows, count(again.key_hash) as again
    from pair left join asked on asked.file_no = pair.file_no
    left join given as again on again.file_no = by_no and again.table_name = asked.table_name and again.key_hash = asked.key_hash
    group by all
)
select file_no, min(by_no) as by_no from overlap where 2 * again >= rows group by file_no;

-- one row is a vessel ('*': all there is) of which a file lists all rows of a table, and the file that next did so; a vessel counts
-- if one of its rows was good
create or replace temp table dumped as
with scope as (
    select distinct file.file_no, folder, dialect, feed.table_name, case when feed.full_dump = 'fleet' then '*' else imo_number end as scope
    from stage_feed as feed join stage_file as file using (file_no)
    left join row_key on row_key.file_no = feed.file_no and row_key.table_name = feed.table_name and fate <> 'failed'
    where feed.full_dump is not null
)
select *, lead(file_no) over (partition by folder, dialect, table_name, scope order by file_no) as by_no from scope where scope is not null;
