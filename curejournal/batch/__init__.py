"""What is on record of a batch, how each record is described, and which records are refused or questioned."""
