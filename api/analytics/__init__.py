"""Pure arithmetic on readings: no clock, no database, no printing. Frames and arrays in, values out."""
