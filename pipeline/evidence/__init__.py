"""Evidence for an auditor: the pack of one vessel, with proof that nothing was changed since, and what two moments tell differently."""
