"""First power of an unknown device: procedures made from its document that stop where it is not so."""
