-- Calendar months in one step from the basis; a missing day clamps to the end of the month (31 Jan + 1 month = 28 or 29 Feb).
-- DATE + INTERVAL is a TIMESTAMP, hence the cast.
create or replace macro due_date(basis, months) as (basis + to_months(months))::date;

-- The days of [from_on, to_on) outside [out_from, out_to): up to two stretches; no out_from means nothing to leave out.
create or replace macro days_outside(from_on, to_on, out_from, out_to) as
    case when out_from is null then [{'from_on': from_on, 'to_on': to_on}]
    else [{'from_on': from_on, 'to_on': least(to_on, out_from)},
        {'from_on': greatest(from_on, coalesce(out_to, date '9999-12-31')), 'to_on': to_on}] end;
