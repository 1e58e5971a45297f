-- Calendar months in one step from the basis; a missing day clamps to the end of the month (31 Jan + 1 month = 28 or 29 Feb).
-- DATE + INTERVAL is a TIMESTAMP, hence the cast.
create or replace macro due_date(basis, months) as (basis + to_months(months))::date;

-- The days of [from_on, to_on) outside [out_from, out_to): up to two stretches. Without out_from, or with an out_to that is not
-- after it (flagged elsewhere), there is nothing to leave out.
create or replace macro days_outside(from_on, to_on, out_from, out_to) as
    case when out_from is null or out_to <= out_from then [{'from_on': from_on, 'to_on': to_on}]
    else [{'from_on': from_on, 'to_on': least(to_on, out_from)},
        {'from_on': greatest(from_on, coalesce(out_to, date '9999-12-31')), 'to_on': to_on}] end;
