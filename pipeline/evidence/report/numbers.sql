-- one row is a number that a rule asks for
select said(measure), concat_ws(' ', said(agent), charge_l || ' l', charge_kg || ' kg'), required, held, usable, concat_ws('; ', state, reason), rule_id,
    concat_ws(', ', source, clause)
from figure.number_now where imo_number = $imo_number order by rule_id, agent
