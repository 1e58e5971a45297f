"""The audit pack of one vessel: what was known, on whose record, under which rule, and proof that nothing was changed since."""
