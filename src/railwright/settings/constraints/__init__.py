"""What settings, voltages and groups of outputs must meet: each fact stated once, in one function.

A fact is seen three ways: a window (`windows`) is bracketed by what bounds its setting, a rule (`rules`) asks
whether a written value holds, and `hook_up: auto` (`hookup`) whether it does with the outputs considered.
"""
