"""What the described aircraft does. Pure, and without a number of its own: all come from its description."""
