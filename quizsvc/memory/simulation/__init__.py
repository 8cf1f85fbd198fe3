"""Simulated learners of other published models, plain schedules for them, and what becomes of both."""
