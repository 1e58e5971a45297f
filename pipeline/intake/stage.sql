-- one row is a received file, in the order in which files count
create table stage_file (
    file_no integer, file_id varchar, path varchar, sha256 varchar, bytes bigint, received_at timestamp, received_on date,
    dialect varchar, encoding varchar, delimiter varchar, records bigint, lines_skipped bigint, folder varchar
);

-- one row is a Parquet file of typed rows for one table; matching: what may differ between a unit's number here and in the register
create table stage_feed (file_no integer, table_name varchar, filename varchar, rows bigint, full_dump varchar, matching varchar);

-- one row is a record that is no row
create table stage_broken (
    file_no integer, table_name varchar, record_no bigint, line_no bigint, rule varchar, value varchar, content varchar
);

-- one row is a record of a mended sheet and the quarantined record it answers
create table stage_answer (file_no integer, record_no bigint, of_file_id varchar, of_record_no bigint);

-- one row is a staged row that a later file may speak of: the identity of its key (null where the key can't be read whole), of its content, and what became of it
create table row_key (
    table_name varchar, file_no integer, record_no bigint, line_no bigint, item_no integer, imo_number varchar, key_hash ubigint,
    content ubigint, fate varchar, spelt varchar
);
