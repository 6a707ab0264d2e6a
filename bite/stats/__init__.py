"""Numbers with sds, pooled, spread and compared. Knows no teeth."""
