-- figure.placement_now: one row is a unit aboard on $as_of and a rule of place, colour or size that it breaks. The columns are
-- those of figure.verdict, and `breach`: unsuitable, doubtful (verdict 'doubt'), colour, capacity. A unit that is a spare or
-- ashore stands nowhere, so the rules of place are not asked of it; a unit that has no colour zone (or none on record) is not
-- judged by colour.
create table figure.placement_now as
with aboard as (
    select counted, unit.* from figure.unit_now as unit_now
    join record.unit as unit on unit.file_id = unit_now.file_id and unit.record_no = unit_now.record_no
        and unit.unit_id = unit_now.unit_id
    qualify row_number() over (partition by unit.imo_number, unit.unit_id
        order by coalesce(unit.in_service_on, unit.made_on) desc, unit.in_service_on desc nulls last, unit.record_no) = 1
),
bound as (
    select aboard.*, placement.rule_id, breach, colour_zone_expected, title
    from aboard
    join duty.stay as stay on stay.file_id = aboard.file_id and stay.record_no = aboard.record_no
        and stay.unit_id = aboard.unit_id
    join duty.in_force as ruling on ruling.stay_no = stay.stay_no and is_within($as_of::date, ruling.from_on, ruling.to_on)
    join duty.placement as placement on placement.rule_id = ruling.rule_id
    join (select rule_id, title from duty.provision) as provision on provision.rule_id = placement.rule_id
),
broken as (
    select imo_number, unit_id, case breach when 'doubtful' then 'doubt' else 'placement' end as verdict,
        case breach when 'colour' then title || ': ' || colour_zone || ', expected ' || colour_zone_expected
            else title || coalesce(': ' || coalesce(space_name, replace(space_category, '_', ' ')), '') end as reason,
        rule_id, null::varchar as measure, null::double as value, null::double as limit_value, null::varchar as unit,
        $as_of::date as seen_on, 'unit' as table_name, file_id, record_no, line_no, breach
    from bound
    where case breach when 'colour' then colour_zone not in (colour_zone_expected, 'none')
        else counted in ('in service', 'laid up') end
    union all by name
    select *, 'capacity' as breach from figure.verdict where verdict = 'placement'
)
from broken order by imo_number, unit_id, breach, rule_id, reason;
