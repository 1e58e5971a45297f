"""Intake: bytes of any dialect become typed canonical rows, each with its file, record and line."""
