-- one row is a unit and a day on which a look could have shown corrosion of its shell, lining or head: a service by whoever opens and
-- handles it, or any look that reported some. A monthly check that reports none is not taken as clean: it sees little. Looks count
-- from the first day on which the vessel's records could hold a finding; older services stand in the records without theirs. A look on
-- the day of manufacture tells nothing of age.
create temp table corrosion_look as
with began as (
    select imo_number, min(on_day) as began_on from (
        select imo_number, inspected_on as on_day from record.inspection where inspected_on <= $as_of::date
        union all select imo_number, found_on from record.finding where found_on <= $as_of::date)
    group by imo_number
),
found as (
    select unit_id, found_on as looked_on, min(imo_number) as imo_number, max(rust_grade) as rust_grade,
        bool_or(coalesce(rust_grade >= 'Ri3', false) or coalesce(severity in ('major', 'unfit'), false)) as is_graded
    from record.finding where defect = 'corrosion' and component in ('shell', 'lining', 'head') and found_on <= $as_of::date
    group by unit_id, found_on
),
serviced as (
    select unit_id, serviced_on as looked_on, min(service.imo_number) as imo_number, bool_or(kind = 'condemn') as is_condemned
    from record.service as service join began on began.imo_number = service.imo_number and serviced_on >= began_on
    where serviced_on <= $as_of::date and kind <> 'cartridge_check' group by unit_id, serviced_on
),
made as (select unit_id, min(made_on) as made_on from record.unit group by unit_id),
looked as (
    select unit_id, looked_on, coalesce(serviced.imo_number, found.imo_number) as imo_number, found.unit_id is not null as is_found,
        serviced.unit_id is not null as is_service, rust_grade, coalesce(is_graded, false) as is_graded, coalesce(is_condemned, false) and found.unit_id is not null as is_condemned
    from serviced full join found using (unit_id, looked_on)
)
-- a light report counts once the next look reports it as well
select looked.*, (looked_on - made_on) / 365.25 as age_years,
    is_found and (is_graded or is_condemned or coalesce(lead(is_found) over later, false)) as is_confirmed,
    case when not is_found then null when is_condemned then 'condemned with corrosion' when is_graded then 'graded moderate or worse'
        when coalesce(lead(is_found) over later, false) then 'light at two looks running' end as confirmed_by
from looked left join made using (unit_id) where coalesce(looked_on > made_on, true)
window later as (partition by unit_id order by looked_on)
order by unit_id, looked_on;

-- figure.corrosion_history: one row is a unit: between which ages corrosion of its shell, lining or head began, as far as looks tell.
-- clean_age is that of the last look that saw none before found_age, that of the first confirmed finding (rust grade Ri3 or worse,
-- severity major or unfit, condemned with corrosion, or light at two looks running); null found_age: none so far. raw_found_age is
-- that of the first report of any kind. Kind of space and agent are those of its first stay. why_not: why its age can't be told.
create table figure.corrosion_history as
with unit as (
    select unit_id, min(made_on) as made_on, arg_min(imo_number, coalesce(in_service_on, made_on, date '9999-12-31')) as home,
        arg_min(coalesce(space_category, 'not stated'), coalesce(in_service_on, made_on, date '9999-12-31')) as space_category,
        arg_min(coalesce(agent, 'not stated'), coalesce(in_service_on, made_on, date '9999-12-31')) as agent,
        arg_min(coalesce(lining, 'not stated'), coalesce(in_service_on, made_on, date '9999-12-31')) as lining
    from (select * from record.unit where coalesce(in_service_on, made_on, $as_of::date) <= $as_of::date
        order by unit_id, in_service_on, imo_number) group by unit_id
),
first_found as (
    select unit_id, min(looked_on) filter (is_confirmed) as found_on, arg_min(confirmed_by, looked_on) filter (is_confirmed) as confirmed_by,
        min(looked_on) filter (is_found) as raw_found_on, count(*) as looks, min(looked_on) as first_looked_on,
        max(looked_on) as last_looked_on, arg_min(imo_number, looked_on) as imo_number, not arg_min(is_found, looked_on) as is_first_clean
    from corrosion_look group by unit_id
),
last_clean as (
    select unit_id, max(looked_on) as clean_on, max(looked_on) filter (raw_found_on is null or looked_on < raw_found_on) as raw_clean_on
    from corrosion_look join first_found using (unit_id)
    where not is_found and (found_on is null or looked_on < found_on) group by unit_id
)
select unit.unit_id, coalesce(imo_number, home) as imo_number, space_category, agent, lining, made_on, coalesce(looks, 0) as looks,
    is_first_clean, (first_looked_on - made_on) / 365.25 as first_look_age, (clean_on - made_on) / 365.25 as clean_age,
    (found_on - made_on) / 365.25 as found_age, confirmed_by, (raw_clean_on - made_on) / 365.25 as raw_clean_age,
    (raw_found_on - made_on) / 365.25 as raw_found_age, (last_looked_on - made_on) / 365.25 as last_look_age,
    case when made_on is null then 'no date of manufacture' when looks is null then 'no service and no finding since records of findings began' end as why_not
from unit left join first_found using (unit_id) left join last_clean using (unit_id) order by unit.unit_id;
