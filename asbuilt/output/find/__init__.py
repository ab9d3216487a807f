"""How to find a buried thing again, and where it really was: facts, words, sheet."""
