-- one row is a month's end of the period: units overdue on any duty
select month_end, units, overdue, unknown, overdue_unit_days, unit_days, round(100 * days_rate, 1)
from figure.overdue_monthly where imo_number = $imo_number and duty = '*' and month_end between $from_on and $as_of order by month_end
