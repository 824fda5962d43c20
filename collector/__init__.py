"""Everything that touches a bus or a file: site, register maps, bus, polling, readings and their store."""
