"""Settings: what to dial in, the reason behind every number, and what the check has to say."""
