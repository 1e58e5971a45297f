"""The warehouse: good rows into a new database file, which then takes the old one's place."""
