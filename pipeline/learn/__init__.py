"""Drafting a dialect for an unseen source: it proposes, marks what it is unsure of, and settles nothing by itself."""
