"""What is derived from readings or decided by people: hour rows, curves, findings and their history."""
