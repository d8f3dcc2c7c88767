"""From the procedure and the settled set points to what is told to which output, and when. Pure."""
