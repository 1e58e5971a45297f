-- Macros on single values of the contract.

-- IMO ship identification number: the first six digits times 7, 6, 5, 4, 3, 2; the last digit of the sum is the seventh.
-- Source: IMO ship identification number scheme; worked example 9074729: 139 -> 9.
create or replace macro imo_check_sum(n) as
    7 * (n // 1000000 % 10) + 6 * (n // 100000 % 10) + 5 * (n // 10000 % 10)
    + 4 * (n // 1000 % 10) + 3 * (n // 100 % 10) + 2 * (n // 10 % 10);

create or replace macro is_imo_number(number) as
    coalesce(regexp_full_match(number, '[0-9]{7}') and number <> '0000000' and imo_check_sum(try_cast(number as integer)) % 10
        = try_cast(number as integer) % 10, false);

-- Whether reading this column of a row already failed: `problems` lists what the reader could not read. `case`, because `and` looks
-- through the list of every row, and hardly any has one.
create or replace macro has_problem(problems, wanted) as
    case when problems is null then false else len(list_filter(problems, lambda p: p.column_name = wanted)) > 0 end;

create or replace macro has_problem_of(problems, wanted_rule, wanted) as
    case when problems is null then false
        else len(list_filter(problems, lambda p: p.column_name = wanted and p.rule = wanted_rule)) > 0 end;

-- Whether an inspection saw the unit: without access, or with the unit not in its place, nothing of its state was seen.
create or replace macro was_seen(outcome) as outcome is null or outcome not in ('not_found', 'no_access');

-- Whether a day lies in [from_on, to_on); an open end is none, a period without a beginning covers no day.
create or replace macro is_within(day, from_on, to_on) as
    coalesce(from_on <= day, false) and (to_on is null or day < to_on);

-- a unit's number without what a declared rule lets differ: spacing, case, leading zeros of each run of digits
create or replace macro fold_spacing(unit_id, matching) as
    case when contains(matching, 'spacing') then regexp_replace(unit_id, '[\s\x{00a0}\x{2007}\x{202f}]+', '', 'g') else unit_id end;
create or replace macro fold_case(unit_id, matching) as case when contains(matching, 'case') then upper(unit_id) else unit_id end;
create or replace macro fold_zeros(unit_id, matching) as
    case when contains(matching, 'leading_zeros') then regexp_replace(unit_id, '(^|[^0-9])0+([0-9])', '\1\2', 'g') else unit_id end;
create or replace macro fold_unit(unit_id, matching) as fold_zeros(fold_case(fold_spacing(unit_id, matching), matching), matching);
