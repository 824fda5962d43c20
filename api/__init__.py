"""Everything that answers a question: analytics, findings, energy, routes and the command line."""
