"""Circuit physics: conductors, a supply's output stage, leads and loads, and their solution over time."""
