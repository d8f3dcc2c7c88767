"""Windows: the interval in which a setting is right, each end with its reason, and what to dial in."""
