"""From documents and a chooser of values to the parts of one circuit: for rehearsal and twin. Pure."""
