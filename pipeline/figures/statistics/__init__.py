"""Statistical methods, each with the source of its formula."""
