"""firekpi: CSV exports of a fleet's extinguisher records in, traced figures out. Start reading at run.py."""

import os

# Before numpy: our matrices are small, and two threads that wait for each other on a busy machine took up to six times as long as one.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

__version__ = "0.1.0"
