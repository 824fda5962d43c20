"""When analysis runs, what it looks at again, and how its results meet what is already stored."""
