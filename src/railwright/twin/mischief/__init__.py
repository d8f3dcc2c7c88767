"""Faults by script between a twin's connection and its supply: what is scripted, what comes of an answer, and
the layer that carries it out.
"""
