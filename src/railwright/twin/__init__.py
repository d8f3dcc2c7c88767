"""Simulated supplies that speak SCPI over real sockets, each in its own process, with a device of its own
behind them.
"""
