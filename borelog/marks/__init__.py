"""Place, coverage, shapes and the vocabulary of findings: plain values without NumPy."""
