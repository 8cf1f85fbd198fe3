"""From a text to a question, from a response to a grade. Pure: text, clock and generator are arguments."""
