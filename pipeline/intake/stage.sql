-- one row is a received file, in the order in which files count
create table stage_file (
    file_no integer, file_id varchar, path varchar, sha256 varchar, bytes bigint, received_at timestamp, received_on date,
    dialect varchar, encoding varchar, delimiter varchar, records bigint, lines_skipped bigint
);

-- one row is a Parquet file of typed rows for one table
create table stage_feed (file_no integer, table_name varchar, filename varchar, rows bigint);

-- one row is a record that is no row
create table stage_broken (
    file_no integer, table_name varchar, record_no bigint, line_no bigint, rule varchar, value varchar
);
