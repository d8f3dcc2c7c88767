"""From documents and a chooser of values to the parts of one circuit: for rehearsal and twin. Pure."""

CASE_NAMES = ("nominal", "low", "high")
"""Cases that people ask for by name; the command line shows them without loading what they are."""
