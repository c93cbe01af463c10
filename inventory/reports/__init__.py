"""Looking back: use, spending, dead stock, history of a paper."""
