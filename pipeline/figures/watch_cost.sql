-- What each choice is expected to cost from today to twelve months after the day on which a unit ordered today is delivered: the same
-- days for each. Waiting for delivery costs what the old unit risks meanwhile; a new one costs its price over the years of its life
-- from its delivery on, however long that took. A test due on a day on which the old unit still hangs is paid and risked in each
-- choice alike. The chance of 12 months is that of a unit whose test comes; `rate` is what is left of it without the test, `bump` what the test adds.
create or replace temp macro rate(chance, p) as case when p.days_to_test <= p.lead_days + 365 then chance * p.without_test else chance end;
create or replace temp macro risk(chance, p, days, is_tested) as least(1.0, 1 - power(1 - rate(chance, p), days / 365)
    + case when is_tested then chance - rate(chance, p) else 0 end);
create or replace temp macro cost_keep(chance, p) as risk(chance, p, p.lead_days + 365, coalesce(p.days_to_test <= p.lead_days + 365, false)) * p.failure
    + case when p.days_to_test <= p.lead_days + 365 then p.pressure_test else 0 end;
create or replace temp macro cost_now(chance, p) as risk(chance, p, p.lead_days, coalesce(p.days_to_test <= p.lead_days, false)) * p.failure
    + p.replacement / p.life_years + case when p.days_to_test <= p.lead_days then p.pressure_test else 0 end;
-- Only where the new unit can be there when the test falls due.
create or replace temp macro can_wait(p) as coalesce(p.days_to_test > p.lead_days and p.days_to_test <= p.lead_days + 365, false);
create or replace temp macro cost_at_test(chance, p) as risk(chance, p, p.days_to_test, false) * p.failure
    + (p.lead_days + 365 - p.days_to_test) / 365 * p.replacement / p.life_years;
create or replace temp macro choose(chance, p) as case
    when can_wait(p) and cost_at_test(chance, p) < least(cost_keep(chance, p), cost_now(chance, p)) then 'replace at the next pressure test'
    when cost_now(chance, p) < cost_keep(chance, p) then 'replace now' else 'keep for now' end;

-- figure.watch_cost: one row is a unit of the list, where prices are given: expected costs in `currency` if it is replaced now, at its
-- next pressure test (null: none falls due after delivery and within the days told), or kept; the cheapest of them, at the chance and
-- at both of its limits. settled: the same one at all three, else null: the interval leaves it open. A unit with a hard reason, or not
-- fit for use now, is never weighed. why_not: why nothing is weighed.
create table figure.watch_cost as
with band as (select label, share, low, high from figure.back_test_group where grouped_by = 'band'),
unfit as (select unit_id, string_agg(distinct reason, '; ' order by reason) as unfit_why from figure.unfit_now group by unit_id),
stay as (
    select unit_id, imo_number, agent, form, coalesce(charge_kg, charge_l) as charge from figure.unit_now
    qualify row_number() over (partition by unit_id, imo_number order by coalesce(in_service_on, made_on) desc, record_no desc) = 1
),
priced as (
    select list.list_rank, list.unit_id, list.imo_number, hard_reason, list.kind, price.currency, price.failure, replacement, pressure_test, lead_days,
        life_years, without_test, case when test_due_on is not null then greatest(test_due_on - $as_of::date, 0) end as days_to_test, stay.agent, stay.form,
        coalesce(chance_12_months, band.share) as chance, coalesce(list.low, band.low) as low, coalesce(list.high, band.high) as high, unfit_why
    from figure.watch_list as list left join stay using (unit_id, imo_number) left join unfit on unfit.unit_id = list.unit_id
    left join band on list.kind = 'bands' and band.label = list.band
    left join figure.price as price on price.agent = stay.agent and coalesce(price.form = stay.form, true)
        and (charge_up_to is null or charge <= charge_up_to)
    where exists (from figure.price)
    qualify row_number() over (partition by list.unit_id order by price_no) = 1
),
told as (
    select *, case when hard_reason is not null then 'a hard reason stands: no cost is weighed'
        when unfit_why is not null then 'unfit now: ' || unfit_why
        when kind = 'rule' then 'this list gives no chance' when chance is null then 'no past list tells how often such units are condemned'
        when replacement is null then 'no price for ' || coalesce(agent, 'a unit without an agent on record') || coalesce(', ' || form, '') end as why_not
    from priced
)
select list_rank, unit_id, imo_number, currency, case when why_not is null then cost_now(chance, told) end as replace_now,
    case when why_not is null and can_wait(told) then cost_at_test(chance, told) end as replace_at_test,
    case when why_not is null then cost_keep(chance, told) end as keep,
    case when why_not is null then choose(chance, told) end as cheapest, case when why_not is null then choose(low, told) end as cheapest_low,
    case when why_not is null then choose(high, told) end as cheapest_high,
    case when why_not is null and choose(low, told) = choose(chance, told) and choose(high, told) = choose(chance, told) then choose(chance, told) end as settled,
    why_not
from told order by list_rank;
