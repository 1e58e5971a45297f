-- duty.stay: one row is one stay of a unit on a vessel, as the register has it
create table duty.stay as
select row_number() over (order by imo_number, unit_id, in_service_on, record_no) as stay_no,
    imo_number, unit_id, coalesce(in_service_on, made_on) as from_on, removed_on as to_on, made_on,
    in_service_on is null as is_start_from_manufacture, is_spare, landed_from, landed_to, form, agent, charge_l, charge_kg,
    concat_ws(' · ', coalesce(agent, '–'), coalesce(form, '–'), coalesce(charge_l::varchar || ' l', '–'),
        coalesce(charge_kg::varchar || ' kg', '–'), coalesce(maker, '–'), coalesce(model, '–'),
        coalesce(year(made_on)::varchar, 'year unknown')) as group_id,
    file_id, record_no, line_no
from record.unit;

-- duty.counted: one row is a stretch of days [from_on, to_on) on which a stay counts: in service, on a vessel in the fleet,
-- not spare, not ashore, not on a laid-up vessel. An open end is 9999-12-31.
create table duty.counted as
with served as (
    select stay_no, stay.imo_number, stay.unit_id, landed_from, landed_to, laid_up_from, laid_up_to,
        greatest(from_on, coalesce(joined_on, from_on)) as from_on,
        least(coalesce(to_on, date '9999-12-31'), coalesce(left_on, date '9999-12-31')) as to_on
    from duty.stay as stay join record.vessel using (imo_number)
    where from_on is not null and not is_spare
),
aboard as (
    select * exclude (piece) replace (piece.from_on as from_on, piece.to_on as to_on)
    from (select *, unnest(days_outside(from_on, to_on, landed_from, landed_to)) as piece from served)
),
afloat as (
    select * exclude (piece) replace (piece.from_on as from_on, piece.to_on as to_on)
    from (select *, unnest(days_outside(from_on, to_on, laid_up_from, laid_up_to)) as piece from aboard)
)
select stay_no, imo_number, unit_id, from_on, to_on from afloat where from_on < to_on;
