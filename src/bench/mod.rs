//! Bench-test logs: reading, integrating, and the figures that a test verdict rests on.
