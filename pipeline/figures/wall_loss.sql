-- figure.wall_loss: one row is a unit with wall readings on two days or more: what it loses in mm a year (least squares, positive where
-- wall is lost, a gain stays a gain), with 95 % limits from the gauge's error, and drawn to the mean of all by how much units differ.
-- fitted_mm: the line's height on the day of the last reading. years_left: from $as_of until wall_min_mm, the maker's limit, at the upper
-- limit of the drawn rate since the last reading, from the lower of fitted_mm and last_mm; below 0: it may be reached since; null: why_not. The records hold no point of measurement: readings of one unit are taken as of one point. A competent person decides, not this figure.
create table figure.wall_loss (
    unit_id text, imo_number text, is_aboard boolean, readings integer, first_on date, first_mm double, last_on date, last_mm double,
    fitted_mm double, wall_min_mm double, mm_per_year double, low double, high double, shrunk double, shrunk_low double,
    shrunk_high double, years_left double, why_not text, gauge_error_mm double, is_gauge_error_measured boolean
);

-- one row is a unit and a day with wall readings: the thinnest of the day
create temp table wall_reading as
select unit_id, serviced_on as read_on, min(wall_mm_measured) as wall_mm from record.service
where wall_mm_measured is not null and serviced_on <= $as_of::date
group by unit_id, serviced_on qualify count(*) over (partition by unit_id) >= 2 order by unit_id, serviced_on;

-- one row is a unit with such readings: its vessel, and the least wall that its register states
create temp table wall_unit as
select unit_id, arg_max(unit.imo_number, (coalesce(unit.in_service_on, date '0001-01-01'), unit.imo_number)) as imo_number,
    max(wall_min_mm) as wall_min_mm, unit_id in (select unit_id from figure.unit_now) as is_aboard
from record.unit as unit where unit_id in (select unit_id from wall_reading) group by unit_id order by unit_id;
