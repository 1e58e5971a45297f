-- figure.pit_reading: one row is a unit with a measured pit: the deepest ever reported, and when
create table figure.pit_reading as
with material as (select unit_id, min(coalesce(shell_material, 'not stated')) as shell_material from record.unit group by unit_id)
select unit_id, arg_max(imo_number, (pit_depth_mm, imo_number)) as imo_number, coalesce(any_value(shell_material), 'not stated') as shell_material,
    max(pit_depth_mm)::double as pit_depth_mm, arg_max(found_on, (pit_depth_mm, found_on)) as found_on,
    unit_id in (select unit_id from figure.unit_now) as is_aboard
from record.finding left join material using (unit_id)
where pit_depth_mm > 0 and component in ('shell', 'lining') and found_on <= $as_of::date
group by unit_id order by shell_material, unit_id;

-- figure.pit_depth: one row is a shell material ('*' all): deepest pits of its units as extremes. From twenty units on a Gumbel law with
-- standard errors, the form that a generalised law would have (above 0: heavier than Gumbel's) with p, and the depth that one in a
-- hundred units with a pit exceeds, without limits; below, the readings of figure.pit_reading alone: why_not.
create table figure.pit_depth (
    shell_material text, units integer, median_mm double, deepest_mm double, place_mm double, place_error double, spread_mm double,
    spread_error double, form double, form_error double, form_p double, one_in_100_mm double, why_not text
);
