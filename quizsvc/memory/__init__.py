"""What a learner remembers, and what to ask next. Pure; stands alone."""
