"""Ranks ways of driving the coolant pump of a water-to-air charge cooler on real drives."""
