"""Where it meets the real car: logs, fitting, before and after, wiring, parts."""
