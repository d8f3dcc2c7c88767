"""Every entry of a dialect changed in turn: what is changed, and what comes of it."""
