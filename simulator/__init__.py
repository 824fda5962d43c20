"""Pumps, pipes, faults and drives that answer on real sockets and a paced serial line."""
