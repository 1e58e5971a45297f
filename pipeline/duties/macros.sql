-- Calendar months in one step from the basis; a missing day clamps to the end of the month (31 Jan + 1 month = 28 or 29 Feb).
-- DATE + INTERVAL is a TIMESTAMP, hence the cast.
create or replace macro due_date(basis, months) as (basis + to_months(months))::date;

-- The days of [from_on, to_on) outside [out_from, out_to): up to two stretches. Without out_from, or with an out_to that is not
-- after it (flagged elsewhere), there is nothing to leave out.
create or replace macro days_outside(from_on, to_on, out_from, out_to) as
    case when out_from is null or out_to <= out_from then [{'from_on': from_on, 'to_on': to_on}]
    else [{'from_on': from_on, 'to_on': least(to_on, out_from)},
        {'from_on': greatest(from_on, coalesce(out_to, date '9999-12-31')), 'to_on': to_on}] end;

-- Free text to be compared: small letters, a blank before each word; a mark parts clauses, and blanks stand for all else that is
-- neither letter nor digit. So 'fire-damage' is 'fire damage', and 'rust: no. Pitting: yes' does not hold 'no pitting'.
create or replace macro fold_words(said) as ' ' || trim(regexp_replace(
    regexp_replace(lower(said), '[^\p{L}\p{M}\p{N}\x{e000},;.:!?/()\n\r]+', ' ', 'g'), ' ?[,;.:!?/()\n\r][ ,;.:!?/()\n\r]*', ' | ', 'g'), ' |');

-- A word to look for, so folded that it is found at the beginning of a word: 'pit' in 'pitted', not in 'hospital'. One that
-- begins with a star may stand anywhere: '*raum' is in 'Maschinenraum'. Words of signs alone are none.
create or replace macro fold_wanted(words) as list_filter(list_transform(words,
    lambda word: case when starts_with(word, '*') then ltrim(fold_words(word)) else fold_words(word) end), lambda word: trim(word) <> '');

-- Whether a free text holds one of the words or phrases, whatever their case; an empty text holds none.
create or replace macro has_word(said, words) as coalesce(list_reduce(list_prepend(fold_words(said), fold_wanted(words)),
    lambda text, word: case when text = '' or contains(text, word) then '' else text end) = '', false);

-- Whether work done on `done_on` keeps a plan that started on `started_on` and is now at its n-th interval: not earlier than its
-- window (null: however early), and less than a whole interval late.
create or replace macro keeps_plan(started_on, times, months, window_months, done_on) as
    started_on is not null and (window_months is null or done_on >= due_date(started_on, times * months - window_months))
    and done_on < due_date(started_on, (times + 1) * months);

-- How many spares n units need: one each for the first ones, a share of the rest (what is left of one counts as one), up to a cap
-- (null: none). Worked in whole numbers: 0.1 * 30 in binary fractions is a little more than 3.
create or replace macro spares_required(n, first, share, cap) as case when n is not null then least(coalesce(cap, n),
    least(n, first) + ceil(greatest(n - first, 0) * round(share * 1000000)::bigint / 1000000))::bigint end;

-- The days of `asking` (covered, rule_id, from_on, to_on and more) that `cut` (covered, rule_id, from_on, to_on) leaves.
create or replace macro days_left(asking, cut) as table
with taken as (select distinct covered, rule_id, from_on, to_on from query_table(cut) where from_on < to_on),
point as (
    select covered, rule_id, from_on as day from query_table(asking) semi join taken using (covered, rule_id)
    union select covered, rule_id, to_on from query_table(asking) semi join taken using (covered, rule_id)
    union select covered, rule_id, unnest([from_on, to_on]) from taken
),
slice as (
    select covered, rule_id, day as from_on, lead(day) over (partition by covered, rule_id order by day) as to_on from point
)
select * from query_table(asking) anti join taken using (covered, rule_id) where from_on < to_on
union all by name
select asking.* replace (slice.from_on as from_on, slice.to_on as to_on)
from slice join query_table(asking) as asking using (covered, rule_id)
where asking.from_on <= slice.from_on and slice.to_on <= asking.to_on and not exists (
    from taken where taken.covered = slice.covered and taken.rule_id = slice.rule_id
        and taken.from_on <= slice.from_on and slice.to_on <= taken.to_on);

-- The days on which a rule among `asking` takes the place of another there (or, `by_drop`, takes it away), for what both cover.
create or replace macro days_taken(asking, by_drop) as table
select old.covered, old.rule_id, new.from_on, new.to_on
from query_table(asking) as old join duty.replaced as replaced on replaced.of_rule_id = old.rule_id
join query_table(asking) as new on new.rule_id = replaced.rule_id and new.covered = old.covered and new.is_sure
    and (new.kind = 'drop') = by_drop;
