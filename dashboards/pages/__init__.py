"""One module a page: its query, its words, its charts. In: connection and context. Out: `Page` values."""
