-- one row is a unit's number as a source under a declared rule writes it, and the number of the register that it is read as.
-- Views: parquet_row, known_unit (the register's numbers). $is_register: for the register itself, where nothing else is known, the
-- first spelling counts. Where the rule fits two numbers of the register, nothing is matched.
create or replace temp table spelling as
with asked as (
    select matching, unit_id, fold_unit(unit_id, matching) as folded,
        min(file_no::hugeint * 1000000000000 + record_no) as first_seen
    from parquet_row join feed_file using (file_index)
    where matching is not null and unit_id is not null
    group by all
),
-- two spellings in one file of the register are two units, whatever the rule says: neither is matched, nor anything with them
twins as (
    select matching, folded from (
        select matching, fold_unit(unit_id, matching) as folded, file_no, unit_id
        from parquet_row join feed_file using (file_index) where $is_register and matching is not null and unit_id is not null
    )
    group by matching, folded, file_no having count(distinct unit_id) > 1
),
known as (
    select matching, fold_unit(unit_id, matching) as folded, count(*) as spellings, min(unit_id) as unit_id
    from known_unit cross join (select distinct matching from asked)
    group by all
),
first_spelling as (
    select matching, folded, arg_min(unit_id, first_seen) as unit_id from asked where $is_register group by all
),
reading as (
    select asked.matching, asked.unit_id, case
        when known.spellings = 1 then known.unit_id
        when known.spellings is null then first_spelling.unit_id
    end as read_as
    from asked left join known using (matching, folded) left join first_spelling using (matching, folded)
    where asked.unit_id not in (select unit_id from known_unit)
        and (asked.matching, asked.folded) not in (select (matching, folded) from twins)
)
select * from reading where read_as <> unit_id;
