-- What each choice is expected to cost over the next 12 months. A new unit costs its price over the years of its life. Keep: the
-- failure at the unit's chance, and the test if it falls due within the year. Now: until delivery the failure without a test, then the
-- new unit. At the test: the same, until its due date or delivery, whichever is later.
create or replace temp macro cost_keep(chance, p) as chance * p.failure + (1 - chance) * case when p.days_to_test <= 365 then p.pressure_test else 0 end;
create or replace temp macro cost_from(chance, p, days) as
    least(days / 365, 1.0) * chance * p.without_test * p.failure + (1 - least(days / 365, 1.0)) * p.replacement / p.life_years;
create or replace temp macro choose(chance, p) as case
    when p.days_to_test <= 365 and cost_from(chance, p, greatest(p.days_to_test, p.lead_days)) < least(cost_keep(chance, p), cost_from(chance, p, p.lead_days))
        then 'replace at the next pressure test'
    when cost_from(chance, p, p.lead_days) < cost_keep(chance, p) then 'replace now' else 'keep for now' end;

-- figure.watch_cost: one row is a unit of the list, where prices are given: expected costs of the next 12 months in `currency` if it is
-- replaced now, at its next pressure test (null: none due within the year), or kept; the cheapest of them, at the chance and at both of
-- its limits. settled: the same one at all three, else null: the interval leaves it open. A unit with a hard reason is never weighed.
-- why_not: why nothing is weighed.
create table figure.watch_cost as
with band as (select label, share, low, high from figure.back_test_group where grouped_by = 'band'),
stay as (
    select unit_id, imo_number, agent, form, coalesce(charge_kg, charge_l) as charge from figure.unit_now
    qualify row_number() over (partition by unit_id, imo_number order by coalesce(in_service_on, made_on) desc, record_no desc) = 1
),
priced as (
    select list.list_rank, list.unit_id, list.imo_number, hard_reason, list.kind, price.currency, price.failure, replacement, pressure_test, lead_days,
        life_years, without_test, case when test_due_on is not null then greatest(test_due_on - $as_of::date, 0) end as days_to_test, stay.agent, stay.form,
        coalesce(chance_12_months, band.share) as chance, coalesce(list.low, band.low) as low, coalesce(list.high, band.high) as high
    from figure.watch_list as list left join stay using (unit_id, imo_number)
    left join band on list.kind = 'bands' and band.label = list.band
    left join figure.price as price on price.agent = stay.agent and coalesce(price.form = stay.form, true)
        and (charge_up_to is null or charge <= charge_up_to)
    where exists (from figure.price)
    qualify row_number() over (partition by list.unit_id order by price_no) = 1
),
told as (
    select *, case when hard_reason is not null then 'a hard reason stands: no cost is weighed'
        when kind = 'rule' then 'this list gives no chance' when chance is null then 'no past list tells how often such units are condemned'
        when replacement is null then 'no price for ' || coalesce(agent, 'a unit without an agent on record') || coalesce(', ' || form, '') end as why_not
    from priced
)
select list_rank, unit_id, imo_number, currency, case when why_not is null then cost_from(chance, told, lead_days) end as replace_now,
    case when why_not is null and days_to_test <= 365 then cost_from(chance, told, greatest(days_to_test, lead_days)) end as replace_at_test,
    case when why_not is null then cost_keep(chance, told) end as keep,
    case when why_not is null then choose(chance, told) end as cheapest, case when why_not is null then choose(low, told) end as cheapest_low,
    case when why_not is null then choose(high, told) end as cheapest_high,
    case when why_not is null and choose(low, told) = choose(chance, told) and choose(high, told) = choose(chance, told) then choose(chance, told) end as settled,
    why_not
from told order by list_rank;
