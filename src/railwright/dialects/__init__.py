"""How a kind of supply is spoken to: one data file a dialect, and their reader. No sockets."""
