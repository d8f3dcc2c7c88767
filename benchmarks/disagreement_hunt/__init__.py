"""What `python -m benchmarks.disagreements` is made of: draws, plays of them, and what is compared."""
