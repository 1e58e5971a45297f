-- one row is a unit and a record (or its register row) that a rule calls a reason by itself. A finding that is
-- closed is none, unless the rule says that closing does not cure it. An inspection is none after a later satisfactory one, once
-- the findings of its day are closed, whoever found them; that a unit was not found is none after any later look that saw it.
-- Of reports of one defect under one rule the last counts. Dropped by verdict.sql.
create temp table reason_record as
with asked as (
    select judged.*, ground.* from bound join duty.ground as ground using (rule_id) join judged on judged.stay_no = bound.stay_no
),
looked_later as (
    select unit_id, max(inspected_on) filter (outcome = 'satisfactory') as satisfied_on,
        max(inspected_on) filter (outcome in ('satisfactory', 'unsatisfactory')) as looked_on
    from record.inspection where inspected_on <= $as_of::date group by unit_id
),
open_day as (
    select distinct unit_id, found_on from record.finding where closed_on is null or closed_on > $as_of::date
),
-- Which looks are a reason at all is told from what they say, each saying once: few of millions are, and to search texts is slow.
said_reason as (
    select rule_id, outcome, remarks
    from (select distinct outcome, remarks from record.inspection) join duty.ground on record = 'inspection'
        and (outcomes is null or list_contains(outcomes, outcome)) and (words is null or says(remarks, words, without_words))
),
look_reason as (
    select rule_id, look.* from record.inspection as look
    join said_reason on said_reason.outcome is not distinct from look.outcome and said_reason.remarks is not distinct from look.remarks
    where inspected_on <= $as_of::date
),
said_fault as (
    select rule_id, component, defect, severity, action
    from (select distinct component, defect, severity, action from record.finding) join duty.ground on record = 'finding'
        and (components is null or list_contains(components, component)) and (defects is null or list_contains(defects, defect))
        and (severities is null or list_contains(severities, severity)) and (words is null or says(action, words, without_words))
),
fault_reason as (
    select rule_id, finding.* from record.finding as finding join said_fault on said_fault.component = finding.component
        and said_fault.defect = finding.defect and said_fault.severity is not distinct from finding.severity
        and said_fault.action is not distinct from finding.action
    where found_on <= $as_of::date
),
found as (
    select asked.stay_no, rule_id, []::varchar[] as what, null as part, $as_of::date as seen_on, 0 as order_in_day, 'unit' as table_name,
        asked.file_id, asked.record_no, asked.line_no
    from asked where record = 'unit'
    union all
    select asked.stay_no, asked.rule_id, [], null, inspected_on, 0, 'inspection', look.file_id, look.record_no, look.line_no
    from asked join look_reason as look on look.rule_id = asked.rule_id and look.unit_id = asked.unit_id
    left join looked_later on looked_later.unit_id = asked.unit_id
    left join open_day on open_day.unit_id = asked.unit_id and open_day.found_on = inspected_on
    where asked.record = 'inspection' and not coalesce(case when outcome = 'not_found' then looked_on > inspected_on
            else satisfied_on > inspected_on and open_day.found_on is null end, false)
    union all
    select asked.stay_no, rule_id, [replace(service.kind, '_', ' ')], coalesce(tested_part, 'both'), serviced_on,
        order_in_day(service.kind), 'service', service.file_id, service.record_no, service.line_no
    from asked join record.service as service on asked.record = 'service' and service.unit_id = asked.unit_id
    where serviced_on <= $as_of::date and (outcomes is null or list_contains(outcomes, outcome))
        and (kinds is null or list_contains(kinds, service.kind))
        and (tested_parts is null or list_contains(tested_parts, coalesce(tested_part, 'both')))
    union all
    select asked.stay_no, asked.rule_id, [component, replace(defect, '_', ' ')], null, found_on, 0, 'finding', finding.file_id,
        finding.record_no, finding.line_no
    from asked join fault_reason as finding on finding.rule_id = asked.rule_id and finding.unit_id = asked.unit_id
    where asked.record = 'finding' and (closed_on is null or closed_on > $as_of::date or stands_when_closed)
)
select found.*, verdict, cured_by,
    -- What the title says already is not said twice.
    concat_ws(': ', title, nullif(list_aggregate(list_filter(what, lambda word: not contains(lower(title), word)), 'string_agg', ', '), ''))
        as reason
from found join duty.ground using (rule_id) join (select rule_id, title from duty.provision) using (rule_id);
