"""What the readings say together, beyond each figure: patterns, trends, questions, context. No verdict and no belief."""
