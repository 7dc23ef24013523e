"""The timetable: a drive is played once, event by event, into arrays of 0.1 s ticks."""
