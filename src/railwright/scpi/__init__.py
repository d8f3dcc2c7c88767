"""The instrument language alone: grammar, headers, numbers, blocks, error numbers. No sockets, no commands of
its own.
"""
