"""A spaced-repetition quiz service for aircraft-systems knowledge."""
