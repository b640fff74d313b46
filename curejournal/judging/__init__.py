"""Judge a batch from its records: colour over time, drying, alkali, checks, verdict. Pure, without a clock."""
