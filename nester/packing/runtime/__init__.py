"""What the optimizer runs on: solvers, stopping rules, worker processes. Knows no pattern."""
