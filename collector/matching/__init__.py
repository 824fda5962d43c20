"""Which registers explain what a drive's panel shows."""
