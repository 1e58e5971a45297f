-- The database of one run. Public names: schemas record, intake, duty, figure; `history` holds replaced rows.

create schema record;
create schema history;
create schema intake;
create schema duty;
create schema figure;

-- one row is a run that built this database
create table intake.run (
    run_id varchar, started_at timestamp, finished_at timestamp, as_of date, known_at timestamp,
    version varchar, duckdb_version varchar, rule_book_hash varchar
);

-- one row is a file as received
create table intake.file (
    file_id varchar, path varchar, sha256 varchar, bytes bigint, received_at timestamp, dialect varchar,
    encoding varchar, delimiter varchar, records bigint, rows_read bigint, rows_loaded bigint,
    rows_quarantined bigint, rows_duplicate bigint, lines_skipped bigint, superseded_by varchar
);

-- one row is a table that a file feeds
create table intake.file_table (
    file_id varchar, table_name varchar, rows_read bigint, rows_loaded bigint, rows_quarantined bigint, rows_duplicate bigint
);

-- one row is a column of a table that a file feeds: the header it comes from, or the constant its dialect gives, and the source's own
-- words for it
create table intake.column_source (
    file_id varchar, table_name varchar, column_name varchar, header varchar, constant varchar, words varchar
);

-- one row is a reason why a row was not loaded; superseded_by: the later file that answers the row, null while it is open
create table intake.quarantine (
    file_id varchar, record_no bigint, line_no bigint, table_name varchar, rule varchar, column_name varchar,
    value varchar, reason varchar, raw varchar, superseded_by varchar
);

-- one row is a doubt about a row that was loaded
create table intake.flag (
    file_id varchar, record_no bigint, line_no bigint, table_name varchar, rule varchar, column_name varchar,
    value varchar, reason varchar
);

-- one row is a check of one column, as great-expectations reports it
create table intake.check_result (
    table_name varchar, rule varchar, column_name varchar, title varchar, rows_checked bigint, rows_failing bigint
);

-- one row is a cell that was put right by a declared correction, or a record that was set aside by one
create table intake.correction (
    file_id varchar, record_no bigint, column_name varchar, from_value varchar, to_value varchar, why varchar, who varchar,
    declared_on date, declared_in varchar, declared_record_no bigint, declared_file_id varchar
);

-- one row is a file that was received and does not count, because it was withdrawn
create table intake.withdrawn (
    file_id varchar, path varchar, sha256 varchar, version integer, received_at timestamp, withdrawn_at timestamp, why varchar
);
