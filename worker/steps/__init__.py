"""One job's work each: read in one snapshot, compute with no transaction open, write once."""
