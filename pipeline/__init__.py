"""firekpi: CSV exports of a fleet's extinguisher records in, traced figures out. Start reading at run.py."""

__version__ = "0.1.0"
