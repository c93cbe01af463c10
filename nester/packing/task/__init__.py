"""One paper's problem in scaled integers, its patterns and what they are worth. Knows no method."""
