"""One paper's problem in scaled integers, its patterns and their value. Knows no method."""
