"""How fast a whole run is, and how much memory it takes, beside what the engine alone and a plain script would take."""
