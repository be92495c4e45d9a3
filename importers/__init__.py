"""Files in, transactions out."""
