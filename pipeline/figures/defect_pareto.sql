-- figure.defect_pareto: one row is a period ('all', 'last 12 months'), a component and a defect: distinct defects found, their share of
-- all, 95 % limits of the share and the chances of being first and among the first three, from `clusters` drawn anew ('vessels', below
-- 5 of them 'vessel months'). `tied_with`: kinds that can't be
-- told apart in the first place (each against the one found most often, cluster by cluster, at 95 %). Defect 'other' is not ranked.
create table figure.defect_pareto (
    period text, component text, defect text, findings bigint, share double, low double, high double, chance_first double,
    chance_top3 double, is_ranked boolean, is_first boolean, tied_with text[], clusters bigint, clustered_by text, why_not text
);

-- one row is a period, a vessel, a month, a component and a defect found in it
create temp table defect_cell as
select period, imo_number, date_trunc('month', found_on)::date as month, component, defect, count(*) as findings
from figure.defect_report
join (values ('all', date '0001-01-01'), ('last 12 months', ($as_of::date + 1 - to_months(12))::date)) as span (period, start_on)
    on found_on >= start_on
where is_counted and not is_same_defect group by all order by all;

-- one row is a vessel under observation in the period, found on or not
create temp table defect_vessel_watched as
select distinct period, imo_number from figure.defect_rate
where imo_number <> '*' and component = '*' and unit_years > 0 and period in ('all', 'last 12 months') order by all;
