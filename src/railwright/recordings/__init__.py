"""Recordings from outside: CSV, Parquet, HDF5 and WAV as named channels with units on one time base.

`open_recording` of `railwright.recordings.recording` is the one reader. It holds a block of a file at a time:
how large the file is does not matter, only how much of it is asked for.
"""
