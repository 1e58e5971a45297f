-- one row is a unit aboard a vessel on $as_of (spare, ashore and laid up too), by its stay that began last, with what
-- its register row says. Litres of water, foam and wet chemical weigh 1.0 kg each (common practice). A charge that is missing
-- is taken as full less empty mass (taken_g), a full mass that is missing as empty mass and charge. Dropped, with
-- `bound`, by verdict.sql.

-- A difference of masses in whole grams, of walls in whole micrometres: what lies on a limit passes it, and a gram beyond does
-- not.
create or replace temp macro thousandths(amount) as round(amount * 1000)::bigint;

-- A reading as it is held against a limit, to decimals that fit its unit: fine enough that no real shortfall is rounded away, and
-- just so coarse that a limit read in another unit, to the whole psi (0.03 bar), the hundredth of a foot (1.5 mm) or of a
-- gallon (0.02 l), is not failed by the conversion. Below one bar the next decimal tells a gauge that shows a little from one that shows nothing.
create or replace temp macro as_read(value, unit) as round(value, case unit when 'mm' then 3 when 'kg' then 3 when 's' then 2
    when 'm' then 2 when 'l' then 2 when 'bar' then case when value < 1 then 2 else 1 end else 6 end);

-- Whether a free text holds one of the words outside of the phrases that take them away: 'not welded' takes away the 'welded' in
-- it, and no other. The mark left in a phrase's place begins no word.
create or replace temp macro says(said, words, without) as has_word(
    case when said is null or without is null then said else list_reduce(
        list_prepend(fold_words(said), list_sort(fold_wanted(without), 'DESC')),
        lambda text, phrase: replace(text, phrase, ' ' || chr(57344))) end,
    words);

-- In which order the work of one day is done: what finds a fault, then what puts it right.
create or replace temp macro order_in_day(kind) as case kind when 'repair' then 1 when 'recharge' then 2 else 0 end;

-- How bad a value is, whichever side of the limit is the broken one;
-- and how a reader writes a value beside its limit: months in whole ones and shares to a tenth, unless that would hide the breach.
create or replace temp macro badness(value, breach) as case breach when 'above' then value else -value end;
create or replace temp macro digits_of(unit) as case unit when 'months' then 0 when 'pct' then 1 else 3 end;
create or replace temp macro in_digits(value, digits) as regexp_replace(round(value, digits)::varchar, '\.0$', '');
create or replace temp macro write_beside(value, limit_value, unit) as
    in_digits(value, case when round(value, digits_of(unit)) = round(limit_value, digits_of(unit)) then 3 else digits_of(unit) end);

-- Age on a day in months: a birthday is a whole number, the days before or after it a fraction.
create or replace temp macro age_months(made, day) as
    datediff('month', made, day) + (day - due_date(made, datediff('month', made, day))) / 32;

create temp table judged as
select stay.stay_no, unit.*,
    coalesce(thousandths(unit.charge_kg),
        case when unit.agent in ('water', 'foam', 'wet_chemical') then thousandths(unit.charge_l) end) as stated_g,
    case when stated_g is null and full_mass_kg > empty_mass_kg then thousandths(full_mass_kg - empty_mass_kg) end as taken_g,
    coalesce(stated_g, taken_g) as charge_g, coalesce(full_mass_kg, empty_mass_kg + stated_g / 1000) as reckoned_full_kg
from figure.unit_now as unit_now
join duty.stay as stay
    on stay.file_id = unit_now.file_id and stay.record_no = unit_now.record_no and stay.unit_id = unit_now.unit_id
join record.unit as unit on unit.file_id = stay.file_id and unit.record_no = stay.record_no and unit.unit_id = stay.unit_id
qualify row_number() over (partition by stay.imo_number, stay.unit_id
    order by stay.from_on desc, stay.is_start_from_manufacture, stay.stay_no desc) = 1;
