-- one row is a check that rows of the enclosed files failed; rows of other vessels are among them
select table_name, rule, column_name, title, rows_checked, rows_failing from intake.check_result where rows_failing > 0 order by all
