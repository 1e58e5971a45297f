-- figure.measure: one row is a measured value of a unit aboard on $as_of, with the record behind it. Every reading up to $as_of
-- is here; each rule says which it judges, the last or the worst. A unit keeps its readings when it moves to another vessel. In
-- per cent of the net charge, never of the gross mass: charge_lost, charge_over, charge_off (either way). Of the stamped mass of
-- the full cartridge (the records hold no mass of its gas): cartridge_lost. Of the new wall: wall_lost, pit_depth. Of the
-- stamped full mass: mass_sum_off, by which empty mass and charge differ from it. proof_unstamped_bar is the test pressure of a
-- unit whose register states none, wall_unlisted_mm the wall of one whose register states no least wall.
create table figure.measure as
with service as (
    select judged.*, serviced_on, kind, service.file_id as service_file_id, service.record_no as service_record_no,
        service.line_no as service_line_no, thousandths(reckoned_full_kg - mass_kg) as lost_g,
        100 * thousandths(cartridge_nominal_kg - cartridge_mass_kg) / thousandths(cartridge_nominal_kg) as cartridge_lost_pct,
        gauge_bar, discharge_s, throw_m, discharged_pct, wall_mm_measured,
        case when kind = 'pressure_test' and tested_part is distinct from 'cartridge' then proof_pressure_bar end as proof_bar
    from judged join record.service as service on service.unit_id = judged.unit_id
    where serviced_on <= $as_of::date and kind <> 'condemn'
),
measured as (
    select stay_no, imo_number, unit_id, serviced_on as seen_on, order_in_day(kind) as order_in_day, null::date as closed_on,
        'service' as table_name, service_file_id as file_id, service_record_no as record_no, service_line_no as line_no, unnest([
            {'measure': 'charge_lost_pct', 'value': 100 * lost_g / charge_g},
            {'measure': 'charge_over_pct', 'value': -100 * lost_g / charge_g},
            {'measure': 'charge_off_pct', 'value': 100 * abs(lost_g) / charge_g},
            {'measure': 'cartridge_lost_pct', 'value': cartridge_lost_pct},
            {'measure': 'gauge_bar', 'value': gauge_bar},
            {'measure': 'discharge_s', 'value': discharge_s},
            {'measure': 'throw_m', 'value': throw_m},
            {'measure': 'discharged_pct', 'value': discharged_pct},
            {'measure': 'proof_pressure_bar', 'value': proof_bar},
            {'measure': 'proof_unstamped_bar', 'value': case when test_pressure_bar is null then proof_bar end},
            {'measure': 'wall_mm_measured', 'value': wall_mm_measured},
            {'measure': 'wall_unlisted_mm', 'value': case when wall_min_mm is null then wall_mm_measured end},
            {'measure': 'wall_lost_pct', 'value': 100 * thousandths(wall_mm - wall_mm_measured) / thousandths(wall_mm)}
        ], recursive := true)
    from service
    union all
    select stay_no, judged.imo_number, judged.unit_id, found_on, 0, case when closed_on <= $as_of::date then closed_on end,
        'finding', finding.file_id, finding.record_no, finding.line_no, unnest([
            {'measure': 'pit_depth_mm', 'value': pit_depth_mm},
            {'measure': 'pit_depth_pct', 'value': 100 * thousandths(pit_depth_mm) / thousandths(wall_mm)},
            {'measure': 'dent_depth_mm', 'value': dent_depth_mm},
            {'measure': 'rusted_area_pct', 'value': rusted_area_pct}
        ], recursive := true)
    from judged join record.finding as finding on finding.unit_id = judged.unit_id
    where found_on <= $as_of::date and component in ('shell', 'lining')
    union all
    select stay_no, imo_number, unit_id, $as_of::date, 0, null, 'unit', file_id, record_no, line_no, unnest([
            {'measure': 'unit_age_months', 'value': age_months(made_on, $as_of::date)},
            {'measure': 'cartridge_age_months', 'value': case when expelled_by = 'cartridge'
                then age_months(coalesce(cartridge_made_on, made_on), $as_of::date) end},
            {'measure': 'mass_sum_kg', 'value': empty_mass_kg + stated_g / 1000},
            {'measure': 'mass_sum_off_pct', 'value': 100 * abs(thousandths(empty_mass_kg + stated_g / 1000 - full_mass_kg))
                / thousandths(full_mass_kg)},
            {'measure': 'charge_kg', 'value': charge_kg},
            {'measure': 'charge_l', 'value': charge_l},
            {'measure': 'full_mass_kg', 'value': full_mass_kg},
            {'measure': 'empty_mass_kg', 'value': empty_mass_kg},
            {'measure': 'wall_mm', 'value': wall_mm},
            {'measure': 'test_pressure_bar', 'value': test_pressure_bar}
        ], recursive := true)
    from judged
)
select imo_number, unit_id, measure, value, seen_on, order_in_day, closed_on, stay_no, table_name, file_id, record_no, line_no
from measured where value is not null
order by imo_number, unit_id, measure, seen_on, order_in_day, file_id, record_no;
