"""The demonstration: an invented swimming hall whose drives are simulated by another process."""
