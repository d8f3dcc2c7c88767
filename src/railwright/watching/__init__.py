"""Logs of outputs over days: what runs already is read, by interval or on change, and nothing is set."""
