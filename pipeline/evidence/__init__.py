"""Evidence for an auditor: what was told when, from which bytes, and what changed since."""
