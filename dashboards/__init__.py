"""The static site: reads a finished firekpi database, writes pages. It computes no figure of its own."""
