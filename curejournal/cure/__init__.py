"""Days, change and readiness: a batch judged from its records, pure and without a clock."""
