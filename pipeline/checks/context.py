"""What a row is checked against besides itself: its vessel, its unit, its namesakes in the same file.

In: a table of the contract. Out: the SELECT that adds those columns to `row_of_file`.
"""

from __future__ import annotations

from pipeline.contract import Table


def context_sql(table: Table) -> str:
    """SELECT row_of_file with is_known_vessel, is_known_unit, known_made_on and is_conflicting as the table needs.

    The number of a known vessel has passed its check digit, which is then not worked out for each of its rows. `unit_no` is the place of
    a known unit in the order of their numbers.
    """
    selected, joins = ["row_of_file.*"], []
    if table.name == "vessel":
        selected.append("false as is_known_vessel")
    else:
        selected.append(_known_sql("imo_number", "known_vessel") + " as is_known_vessel")
        joins.append("left join (select distinct imo_number from record.vessel) as known_vessel "
                     "on known_vessel.imo_number = row_of_file.imo_number")  # fmt: skip
    if table.event_on and "unit_id" in table.column_names:
        selected += [_known_sql("unit_id", "known_unit") + " as is_known_unit", "known_unit.made_on as known_made_on"]
        selected.append("known_unit.unit_no")
        joins.append("left join (select unit_id, min(made_on) as made_on, (row_number() over (order by unit_id))::integer as unit_no "
                     "from record.unit group by unit_id) as known_unit on known_unit.unit_id = row_of_file.unit_id")  # fmt: skip
    # clash: of one file, rows of one key and two contents
    same_key = " and ".join(f"clash.{name} is not distinct from row_of_file.{name}" for name in ("file_no", *table.key))
    selected.append(f"clash.file_no is not null and {readable_key_sql(table, 'row_of_file')} as is_conflicting")
    joins.append(f"left join clash on {same_key}")
    return f"select {', '.join(selected)} from row_of_file {' '.join(joins)}"


def key_order(table: Table) -> str:
    """ORDER BY of good rows by their key; those of events are of known units, whose places are put in order quicker than their numbers."""
    names = ["unit_no" if table.event_on and name == "unit_id" else name for name in table.key]
    return ", ".join(names)


def readable_key_sql(table: Table, rows: str) -> str:
    """Whether the key of a row can be read whole: needed columns are there, and what is null in the others came empty."""
    return " and ".join(
        f"{rows}.{name} is not null"
        if table.column(name).required
        else f"not coalesce(has_problem({rows}.problems, '{name}'), false)"
        for name in table.key
    )


def _known_sql(column: str, known: str) -> str:
    """Whether the parent was found; null where the row names none, which is another rule's business."""
    return f"case when row_of_file.{column} is not null then {known}.{column} is not null end"
