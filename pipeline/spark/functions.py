"""What the translated SQL calls and Spark has not: SQL functions, and four statistics in Python. In: a session. Out: they are known in it."""

from __future__ import annotations

# Written in Spark SQL, so that they run in its engine.
SQL_FUNCTIONS = (
    # What x * y lost by being rounded to a double. Source: Dekker T. J. (1971) Numerische Mathematik 18:224, from memory.
    "high_half(x double) returns double return 134217729D * x - (134217729D * x - x)",
    """lost_in_product(x double, y double) returns double return ((high_half(x) * high_half(y) - x * y) + high_half(x) * (y - high_half(y))
        + (x - high_half(x)) * high_half(y)) + (x - high_half(x)) * (y - high_half(y))""",
    # Half away from zero, of the number that the double is: what looks like a half may be a little less.
    """round_scaled(x double, scale double) returns double return case
        when abs(x * scale) >= 4503599627370496D then x
        when abs(x * scale) - floor(abs(x * scale)) = 0.5D and sign(x) * lost_in_product(x, scale) < 0 then sign(x) * floor(abs(x * scale)) / scale
        else round(x * scale) / scale end""",
    "round_to(x double, places int) returns double return round_scaled(x, power(10D, places))",
    "place_in(listed array<string>, wanted string) returns int return nullif(array_position(listed, wanted), 0)",
    # 12.5, 10000000.0, 0.0005, 1e+16, 1e-05
    r"""write_double(x double) returns string return case
        when x = 0 then '0.0'
        when abs(x) >= 1e-3 and abs(x) < 1e7 then cast(x as string)
        when abs(x) >= 1e-4 and abs(x) < 1e16 then regexp_replace(regexp_replace(cast(cast(x as decimal(38, 20)) as string), '0+$', ''), '\\.$', '.0')
        else regexp_replace(regexp_replace(regexp_replace(regexp_replace(cast(x as string), '\\.0E', 'E'), 'E-([0-9])$', 'e-0$1'), 'E([0-9])', 'e+$1'), 'E', 'e') end""",
)


def register_functions(session) -> None:
    """Make them callable in the session's SQL."""
    from pipeline.figures.statistics.intervals import garwood, wilson

    for text in SQL_FUNCTIONS:
        session.sql(f"create or replace temporary function {text}")
    for name, call, kind in (
        ("garwood_low", lambda events: None if events is None else garwood(events)[0], "double"),
        ("garwood_high", lambda events: None if events is None else garwood(events)[1], "double"),
        ("wilson_low", lambda events, trials: None if events is None or trials is None else wilson(events, trials)[0], "double"),
        ("wilson_high", lambda events, trials: None if events is None or trials is None else wilson(events, trials)[1], "double"),
        ("c_printf", lambda form, value: None if value is None else form % value, "string"),
    ):
        session.udf.register(name, call, kind)
