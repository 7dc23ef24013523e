"""Scenario files: found, read, checked, and turned into typed values for the rest of the project."""
