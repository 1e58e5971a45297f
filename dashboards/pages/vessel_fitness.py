"""What stands against a vessel's units, stations and numbers, and which of its rules ask less than those they replace.

In: `VesselData`. Out: notes and sections of the vessel's page. Every verdict is a rule's, with the record it rests on.
"""

from __future__ import annotations

from dashboards import words
from dashboards.blocks import Context, Link, Note, Section, Table, Vessel
from dashboards.pages import rule_tables, verdict_rows, verdict_words
from dashboards.pages.vessel_data import VesselData


def list_notes(vessel: Vessel, data: VesselData, context: Context) -> tuple[Note, ...]:
    """The verdicts in a sentence; then the rules that ask less, where there are any."""
    said = verdict_words.say_verdicts(data.verdicts, context, vessel.imo_number, "../")
    notes = [Note(said, links=verdict_words.link_verdicts(vessel.link.href))]
    if data.loosened:
        count, links = (
            len(data.loosened),
            tuple(Link(r.title, f"method.html#{rule_tables.name_anchor(r)}") for r in data.loosened),
        )
        each = "it replaces" if count == 1 else "they replace"
        notes.append(
            Note(
                f"{words.say_capital(words.say_count(count, 'rule'))} of this vessel {words.say_verb(count, 'asks', 'ask')} less than the "
                f"{'rule' if count == 1 else 'rules'} {each}:",
                links=links,
            )
        )
    return tuple(notes)


def list_sections(data: VesselData, context: Context) -> tuple[Section, ...]:
    """A section for each kind of reason, hard ones first, doubts last; the verdicts stand even where there are none."""

    def list_part(name: str) -> Table:
        return verdict_rows.list_verdicts(
            name, verdict_words.NAMES[name], verdict_rows.pick(data.verdicts, name), context, with_vessel=False
        )

    names, remarks = verdict_words.NAMES, verdict_words.REMARKS
    stations = verdict_rows.list_stations(data.stations, context, False)
    numbers, doubts = verdict_rows.list_numbers(data.numbers, context, False), list_part("doubt")
    places = (list_part("placement"), *((stations,) if stations.rows else ()))
    sections = [
        Section("condemn", names["condemn"], (list_part("condemn"),), remarks["condemn"], is_wide=True),
        Section("unfit", names["unfit"], (list_part("unfit"),), remarks["unfit"], is_wide=True),
        Section("placement", "Wrong place, wrong kind", places, remarks["stations"] if stations.rows else "", is_wide=True),
    ]
    sections += [Section("numbers", "Numbers and spares", (numbers,), is_wide=True)] if numbers.rows else []
    sections += [Section("doubt", names["doubt"], (doubts,), remarks["doubt"], is_wide=True)] if doubts.rows else []
    return tuple(sections)
